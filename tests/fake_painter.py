"""A painter without Blender, for tests: it answers as `cli/painter.py` does, and notes in a file each picture that it makes.

Called with the file to note in, the seconds that a picture takes, and a word that makes it fail: an order whose name holds it
is answered by an error, one whose name holds "die" ends the process, one with "once" does so the first time.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path


def main() -> None:
    """Answer orders until the input ends."""
    noted, seconds, bad = Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3]
    parent = os.getppid()
    for line in sys.stdin:
        question = json.loads(line)
        if "blend" in question:
            answer: dict = {"ready": True}
        else:
            order = question["order"]
            time.sleep(seconds)
            if "once" in order["name"] and not (died := noted.with_suffix(".died")).exists():
                died.touch()
                os._exit(9)
            if "die" in order["name"] or os.getppid() != parent:  # a painter is gone with the worker that it serves
                os._exit(11)
            if bad in order["name"]:
                answer = {"error": "it can't be rendered"}
            else:
                folder = Path(question["folder"])
                (folder / "deep").mkdir()
                (folder / "one.png").write_text(f"{order['name']} {order['angle']}")
                (folder / "deep" / "one.exr").write_text(f"deep {order['name']}")
                with noted.open("a") as file:
                    file.write(f"{order['name']}\n")
                answer = {"files": ["one.png", "deep/one.exr"]}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
