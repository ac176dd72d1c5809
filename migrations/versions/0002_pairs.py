"""Files that stand for a frame that came in apart from them"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "pair",
        sa.Column("companion", sa.String(length=50), nullable=False),
        sa.Column("frame", sa.String(length=50), nullable=True),
        sa.Column("counts", sa.Boolean(), nullable=False),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("entry", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("companion"),
    )
    op.create_index(op.f("ix_pair_frame"), "pair", ["frame"], unique=False)
