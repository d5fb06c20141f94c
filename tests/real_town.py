"""Where a real neighborhood lies: plots, buildings and street centerlines that momepy carries."""

from importlib.util import find_spec
from pathlib import Path

# Not asked of momepy itself, whose import takes as long as the tests of a room
BUBENEC = Path(find_spec("momepy").origin).with_name("datasets") / "bubenec.gpkg"
