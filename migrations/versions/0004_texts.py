"""Texts that were written into a derivative; none in those made before"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.add_column("derivative", sa.Column("texts", sa.Text(), nullable=True))
