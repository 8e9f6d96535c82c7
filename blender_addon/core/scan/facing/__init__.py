"""Where is the front of an upright piece? Each direction is measured, and all evidence is combined into one chance."""
