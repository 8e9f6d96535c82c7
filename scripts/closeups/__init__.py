"""Made-up close-ups of pieces whose every detail is known: near lamps of unknown place, a macro lens, a phone's picture.

    from scripts.closeups.cases import closeup_case
    case = closeup_case("owl")     # a CloseupCase: photos as JPEG bytes, scan, true normals a pixel, true camera

- `fine.py` gives a bench shape of `scripts/truth` strokes of 0.08 to 0.3 mm where the camera looks, by formula.
- `render.py` has Cycles render it through a lens with depth of field, a lamp at a time; `phone.py` makes files of the light.
- The first call renders for some minutes into the user's cache folder; the key is the hash of these makers' source.
"""
