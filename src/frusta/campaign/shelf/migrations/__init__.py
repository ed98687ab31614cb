"""Steps that bring a shelf made by an older frusta up to this one; every step is kept for ever."""
