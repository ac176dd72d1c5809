"""The folders of journals as they were when what lies in them was last taken in"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    op.create_table(
        "journal_folder",
        sa.Column("volume", sa.String(length=40), nullable=False),
        sa.Column("path", sa.String(length=400), nullable=False),
        sa.Column("mark", sa.String(length=120), nullable=False),
        sa.Column("entries", sa.Text(), nullable=False),
        sa.Column("others", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("volume", "path"),
    )
