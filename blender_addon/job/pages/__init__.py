"""The pages that go with the pictures: for the client, for the maker, the turn to drag."""
