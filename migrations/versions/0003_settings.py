"""Settings and sky of each frame in columns of their own, to be asked for; frames are derived anew"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "mark",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("value", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    for name, kind in (
        ("exposure_s", sa.Double()),
        ("f_number", sa.Double()),
        ("iso", sa.BigInteger()),
        ("focal_mm", sa.Double()),
        ("sun", sa.Double()),
        ("moon", sa.Double()),
    ):
        op.add_column("frame", sa.Column(name, kind, nullable=True))
    op.create_index("sequence_by_camera", "sequence", ["camera", "first"], unique=False)
