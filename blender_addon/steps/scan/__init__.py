"""From the scan file to a clean, upright piece of true size, separated from its stand."""
