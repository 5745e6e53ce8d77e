"""The steps by which a logbook's tables came to be what they are, one file each in ``versions``."""

from typing import Final

VERSION_TABLE: Final = "logbook_version"
HEAD: Final = "0003"  # a test holds it to the last step: so a logbook in order opens without Alembic
