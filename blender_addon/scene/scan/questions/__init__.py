"""What the scan steps decided, as decisions with pictures and settings."""
