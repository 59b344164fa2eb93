"""One verdict on a box: ready, ready after something is done, or not to be used."""
