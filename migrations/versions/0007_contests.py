"""Which frames have a recipe that two versions claim to be, found once, and kept from then on"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

_CONTESTED = """
INSERT INTO contest (frame, layer, line)
SELECT frame, layer, line FROM (
    SELECT COALESCE(pair.frame, version.frame) AS frame, layer, line, version.entry AS entry
    FROM version LEFT JOIN pair ON pair.companion = version.frame AND pair.counts
    EXCEPT
    SELECT COALESCE(pair.frame, builds_on.frame), layer, line, older
    FROM builds_on LEFT JOIN pair ON pair.companion = builds_on.frame AND pair.counts
) AS head
GROUP BY frame, layer, line HAVING COUNT(*) > 1
"""


def upgrade() -> None:
    op.create_table(
        "contest",
        sa.Column("frame", sa.String(length=50), nullable=False),
        sa.Column("layer", sa.String(length=40), nullable=False),
        sa.Column("line", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("frame", "layer", "line"),
    )
    op.execute(_CONTESTED)
