"""How the small net of the relief is trained: tiles of made-up pieces whose relief is known (gather), then torch (train)."""
