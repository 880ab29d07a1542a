"""The invented workshop: makes job sheets of any size, with the truth beside them."""
