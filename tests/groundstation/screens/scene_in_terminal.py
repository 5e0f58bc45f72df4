"""Shows the scene that is named in this terminal; run with `python -m`."""

from __future__ import annotations

import sys

from tests.groundstation.screens.desks import scenes
from tests.groundstation.screens.showing import shown_app

if __name__ == "__main__":
    shown_app(scenes()[sys.argv[1]]).run()
