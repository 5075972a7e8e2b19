"""How a result is built and shown: text, HTML and dict of one source; a number with its interval; unit values."""
