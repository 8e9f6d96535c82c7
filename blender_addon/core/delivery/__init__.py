"""How pictures are put together for the client. In: sizes in pixels and mm. Out: layouts."""
