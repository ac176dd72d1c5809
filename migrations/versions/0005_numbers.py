"""Every number that a sequence was ever given stands, in a line of its own"""

from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.execute("UPDATE statement SET line = entry WHERE layer = 'sequence-number' AND line = ''")
    # Numbers that a later one had replaced are in the journal only: their entries are read again.
    op.execute("DELETE FROM entry WHERE kind = 'sequence'")
