"""From the scan file to a clean, upright piece of true size, separated from its stand.

In: scan files.
Out: the roles scan, clean, upright, aligned, piece and stand.
Order: intake, cleanup, orientation, registration, separation.
"""
