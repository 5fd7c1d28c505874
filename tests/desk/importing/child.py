"""An import in a program of its own, so that it can be killed: python child.py FOLDER DATA [long]."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parents[2])]

if __name__ == "__main__":
    import folder
    import scripted

    from desk.importing.bulk import Wanted, import_all

    hear = scripted.hear if sys.argv[3:] == ["long"] else folder.hear
    import_all(Wanted([Path(sys.argv[1])], data=Path(sys.argv[2]), hear=hear))
