"""Made-up pieces whose every detail is known, and the scans that a phone would give of them.

For benches and tests (needs `bpy`, numpy; pillow for JPEG)::

    from scripts.truth.scanner import truth_case
    case = truth_case("owl", "window")                       # a TruthCase: scan (mm), texture, truth a texel
    case = truth_case("owl", "window", turn=120.0)           # piece turned in the room: same scan, other light
    case = truth_case("owl", "window", turn=120.0, scan_seed=1)   # same frame, own triangles and UVs
    case = truth_case("owl", "lamps", pigment="printed")     # a bare painted piece; true_albedo is known
    case = truth_case("owl", "window", camera=camera.PHONE)  # a phone that tone-maps and sharpens

- `pieces/shapes.SHAPES`: name to maker. `light/lights.NAMES`: window, lamps, overcast, travelling, tent.
  `modelling/pigments.NAMES`: printed, wood, painted.
- `TruthCase` (scanner.py) has rasters (size, size, ...) with row 0 at v = 0: `texture`, `covered`, `known`, `face`,
  `scan_normal`, `true_normal`, `true_height` (mm), `true_albedo`, `true_light`, `border`; and `scan` (TriangleMesh, mm),
  `island`, `mm_a_texel`, `truth`.
- The first call for a shape bakes for a minute into the user's cache folder; later calls take seconds. The cache's key is
  the hash of the makers' source, so that an edit makes it anew.
- Shading in the cases is by depth maps and clusters (light/transport.py); the demo's scans are baked by Cycles (demo.py). Two
  independent ways.
- `python -m scripts.truth.demo` makes the scans in `assets_demo/` again.
"""
