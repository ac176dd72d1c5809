"""${message}

A step must leave a catalogue that the previous release can still be given up for: the catalogue may
always be rebuilt instead. Never edit a step that was released.
"""

from alembic import op
import sqlalchemy as sa
${imports if imports else ""}

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}
