"""What does a client get? Copies of finished pictures: their frame, size, marks and colours."""
