"""When each device came last."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the moment of a device's last use; of those that are there nobody knows: from now on."""
    op.add_column("devices", sa.Column("used_at", sa.DateTime(timezone=True), nullable=True))
    devices = sa.table("devices", sa.column("used_at"))
    op.execute(devices.update().values(used_at=sa.func.current_timestamp()))
