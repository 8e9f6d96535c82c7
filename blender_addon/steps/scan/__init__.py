"""From the file to a clean, upright piece of true size, apart from its stand."""
