"""The first schema

A step must leave a catalogue that the previous release can still be given up for: the catalogue may
always be rebuilt instead. Never edit a step that was released.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "builds_on",
        sa.Column("frame", sa.String(length=50), nullable=False),
        sa.Column("layer", sa.String(length=40), nullable=False),
        sa.Column("line", sa.String(length=200), nullable=False),
        sa.Column("older", sa.String(length=80), nullable=False),
        sa.Column("entry", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("frame", "layer", "line", "older", "entry"),
    )
    op.create_table(
        "chain",
        sa.Column("volume", sa.String(length=40), nullable=False),
        sa.Column("folder", sa.String(length=400), nullable=False),
        sa.Column("state", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("volume", "folder"),
    )
    op.create_table(
        "derivative",
        sa.Column("job", sa.String(length=40), nullable=False),
        sa.Column("path", sa.String(length=1000), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("digest", sa.String(length=50), nullable=False),
        sa.Column("spec", sa.Text(), nullable=False),
        sa.Column("file_key", sa.String(length=80), nullable=False),
        sa.Column("made", sa.String(length=20), nullable=False),
        sa.Column("document_id", sa.String(length=80), nullable=False),
        sa.Column("instance_id", sa.String(length=80), nullable=False),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("entry", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("job", "path"),
    )
    op.create_index(op.f("ix_derivative_digest"), "derivative", ["digest"], unique=False)
    op.create_index(op.f("ix_derivative_document_id"), "derivative", ["document_id"], unique=False)
    op.create_index(op.f("ix_derivative_file_key"), "derivative", ["file_key"], unique=False)
    op.create_index(op.f("ix_derivative_instance_id"), "derivative", ["instance_id"], unique=False)
    op.create_table(
        "effective",
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_table(
        "entry",
        sa.Column("id", sa.String(length=80), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("time", sa.String(length=20), nullable=False),
        sa.Column("writer", sa.String(length=64), nullable=False),
        sa.Column("previous", sa.String(length=80), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "fault",
        sa.Column("place", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=400), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("place", "name"),
    )
    op.create_table(
        "file",
        sa.Column("roll", sa.String(length=40), nullable=False),
        sa.Column("path", sa.String(length=1000), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("digest", sa.String(length=50), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("modified", sa.String(length=40), nullable=False),
        sa.Column("original", sa.Text(), nullable=True),
        sa.Column("facts", sa.Text(), nullable=True),
        sa.Column("companion_of", sa.String(length=50), nullable=True),
        sa.PrimaryKeyConstraint("roll", "path"),
    )
    op.create_index(op.f("ix_file_companion_of"), "file", ["companion_of"], unique=False)
    op.create_index(op.f("ix_file_digest"), "file", ["digest"], unique=False)
    op.create_table(
        "frame",
        sa.Column("id", sa.String(length=50), nullable=False),
        sa.Column("camera", sa.String(length=80), nullable=False),
        sa.Column("roll", sa.String(length=40), nullable=False),
        sa.Column("path", sa.String(length=1000), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("taken", sa.BigInteger(), nullable=False),
        sa.Column("time_source", sa.String(length=10), nullable=False),
        sa.Column("night", sa.String(length=10), nullable=False),
        sa.Column("sequence", sa.String(length=120), nullable=True),
        sa.Column("position", sa.BigInteger(), nullable=True),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("frame_by_camera", "frame", ["camera", "taken"], unique=False)
    op.create_index("frame_by_night", "frame", ["night", "camera", "taken"], unique=False)
    op.create_index("frame_by_sequence", "frame", ["sequence", "position"], unique=False)
    op.create_index(op.f("ix_frame_name"), "frame", ["name"], unique=False)
    op.create_table(
        "holding",
        sa.Column("volume", sa.String(length=40), nullable=False),
        sa.Column("folder", sa.String(length=400), nullable=False),
        sa.Column("path", sa.String(length=1000), nullable=False),
        sa.Column("digest", sa.String(length=50), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("volume", "folder", "path"),
    )
    op.create_index(op.f("ix_holding_digest"), "holding", ["digest"], unique=False)
    op.create_table(
        "origin",
        sa.Column("job", sa.String(length=40), nullable=False),
        sa.Column("path", sa.String(length=1000), nullable=False),
        sa.Column("position", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("frame", sa.String(length=50), nullable=False),
        sa.Column("pixel_key", sa.String(length=80), nullable=False),
        sa.Column("effective", sa.String(length=80), nullable=False),
        sa.Column("versions", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("job", "path", "position"),
    )
    op.create_index(op.f("ix_origin_frame"), "origin", ["frame"], unique=False)
    op.create_index(op.f("ix_origin_pixel_key"), "origin", ["pixel_key"], unique=False)
    op.create_table(
        "recipe",
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_table(
        "roll",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("folder", sa.String(length=400), nullable=False),
        sa.Column("camera", sa.String(length=80), nullable=False),
        sa.Column("night", sa.String(length=10), nullable=False),
        sa.Column("site", sa.String(length=80), nullable=True),
        sa.Column("card", sa.Text(), nullable=True),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("entry", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("folder"),
    )
    op.create_index(op.f("ix_roll_camera"), "roll", ["camera"], unique=False)
    op.create_table(
        "selection_frame",
        sa.Column("selection", sa.String(length=100), nullable=False),
        sa.Column("position", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("frame", sa.String(length=50), nullable=False),
        sa.Column("milliseconds", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("selection", "position"),
    )
    op.create_table(
        "sequence",
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("night", sa.String(length=10), nullable=False),
        sa.Column("camera", sa.String(length=80), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("first", sa.BigInteger(), nullable=False),
        sa.Column("last", sa.BigInteger(), nullable=False),
        sa.Column("frames", sa.BigInteger(), nullable=False),
        sa.Column("missed", sa.BigInteger(), nullable=False),
        sa.Column("cadence_s", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_index(op.f("ix_sequence_night"), "sequence", ["night"], unique=False)
    op.create_table(
        "statement",
        sa.Column("subject", sa.String(length=120), nullable=False),
        sa.Column("layer", sa.String(length=40), nullable=False),
        sa.Column("line", sa.String(length=200), nullable=False),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("entry", sa.String(length=80), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("subject", "layer", "line"),
    )
    op.create_index("statement_by_layer", "statement", ["layer"], unique=False)
    op.create_table(
        "version",
        sa.Column("frame", sa.String(length=50), nullable=False),
        sa.Column("layer", sa.String(length=40), nullable=False),
        sa.Column("line", sa.String(length=200), nullable=False),
        sa.Column("entry", sa.String(length=80), nullable=False),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("time", sa.String(length=20), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("recipe", sa.String(length=80), nullable=False),
        sa.Column("in_sequence", sa.Boolean(), nullable=False),
        sa.Column("selection", sa.String(length=100), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("frame", "layer", "line", "entry"),
    )
