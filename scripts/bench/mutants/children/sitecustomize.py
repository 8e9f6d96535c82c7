"""Runs as each Python starts that a traced test begins: its lines go, as they are run, to a file beside the test's table.

Each is written at once, since a process may be killed in the middle. The first row is the test's name, which BOZZETTO_TEST
gives; then "file<tab>line" a row.
"""

import importlib.util
import os
import sys
from pathlib import Path

if os.environ.get("BOZZETTO_LINES") and hasattr(sys, "monitoring"):
    _spec = importlib.util.spec_from_file_location("bozzetto_listening", Path(__file__).parents[1] / "listening.py")
    assert _spec is not None and _spec.loader is not None
    _listening = importlib.util.module_from_spec(_spec)
    _spec.loader.exec_module(_listening)
    _rows = os.open(f"{os.environ['BOZZETTO_LINES']}.{os.getpid()}.child", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.write(_rows, f"{os.environ.get('BOZZETTO_TEST', '')}\n".encode())
    _listening.listen(lambda file, line: os.write(_rows, f"{file}\t{line}\n".encode()) and None)
