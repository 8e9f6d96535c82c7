"""How do our materials and finishes look as nodes? Trees built in code, one group a file, inputs by name."""
