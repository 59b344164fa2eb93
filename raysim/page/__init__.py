"""The page of `raysim open`: server, document, live sketch of the light, and jobs."""
