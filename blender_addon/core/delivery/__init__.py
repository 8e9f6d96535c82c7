"""What is delivered to a client? Copies of finished pictures: their crop, size, marks and colours."""
