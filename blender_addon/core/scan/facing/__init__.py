"""Where is the front of a standing thing? What each direction shows is measured, and all of it weighed in one chance."""
