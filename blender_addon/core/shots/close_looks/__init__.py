"""What a close-up picture shows and how it is cropped. In: the subject as points and lobes. Out: spots and crops, with
scores."""
