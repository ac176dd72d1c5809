"""Nights summed up; rating, keywords, recipes and exports beside each frame; frames are derived anew"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"

_SPANNED = (
    ("number", sa.BigInteger(), True),
    ("rating", sa.BigInteger(), False),
    ("exposure_s", sa.Double(), True),
    ("f_number", sa.Double(), True),
    ("iso", sa.BigInteger(), True),
    ("focal_mm", sa.Double(), True),
    ("sun", sa.Double(), True),
    ("moon", sa.Double(), True),
)


def upgrade() -> None:
    op.drop_table("frame")
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
        sa.Column("exposure_s", sa.Double(), nullable=True),
        sa.Column("f_number", sa.Double(), nullable=True),
        sa.Column("iso", sa.BigInteger(), nullable=True),
        sa.Column("focal_mm", sa.Double(), nullable=True),
        sa.Column("rating", sa.BigInteger(), nullable=False),
        sa.Column("developed", sa.Boolean(), nullable=False),
        sa.Column("exported", sa.Boolean(), nullable=False),
        sa.Column("sun", sa.Double(), nullable=True),
        sa.Column("moon", sa.Double(), nullable=True),
        sa.Column("facts", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("frame_by_camera", "frame", ["camera", "taken"], unique=False)
    op.create_index("frame_by_night", "frame", ["night", "camera", "taken"], unique=False)
    op.create_index("frame_by_roll", "frame", ["roll"], unique=False)
    op.create_index("frame_by_sequence", "frame", ["sequence", "position"], unique=False)
    op.create_index(op.f("ix_frame_name"), "frame", ["name"], unique=False)
    op.create_table(
        "frame_keyword",
        sa.Column("frame", sa.String(length=50), nullable=False),
        sa.Column("word", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("frame", "word"),
        sqlite_with_rowid=False,
    )
    op.add_column("sequence", sa.Column("site", sa.String(length=80), nullable=True))
    op.create_table(
        "night_camera",
        sa.Column("night", sa.String(length=10), nullable=False),
        sa.Column("camera", sa.String(length=80), nullable=False),
        sa.Column("first", sa.BigInteger(), nullable=False),
        sa.Column("last", sa.BigInteger(), nullable=False),
        sa.Column("frames", sa.BigInteger(), nullable=False),
        sa.Column("sequences", sa.BigInteger(), nullable=False),
        sa.Column("developed", sa.BigInteger(), nullable=False),
        sa.Column("exported", sa.BigInteger(), nullable=False),
        sa.Column("sites", sa.BigInteger(), nullable=False),
        sa.Column("site", sa.String(length=80), nullable=True),
        sa.Column("name_low", sa.String(length=300), nullable=False),
        sa.Column("name_high", sa.String(length=300), nullable=False),
        *(
            sa.Column(f"{name}_{end}", kind, nullable=nullable)
            for name, kind, nullable in _SPANNED
            for end in ("low", "high")
        ),
        sa.PrimaryKeyConstraint("night", "camera"),
    )
    op.create_index(op.f("ix_night_camera_first"), "night_camera", ["first"], unique=False)
    op.create_table(
        "night_word",
        sa.Column("night", sa.String(length=10), nullable=False),
        sa.Column("camera", sa.String(length=80), nullable=False),
        sa.Column("word", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("night", "camera", "word"),
        sqlite_with_rowid=False,
    )
