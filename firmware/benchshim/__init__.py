"""The bench shim: made-up inputs for a real board.  Only `dewmargin install --bench` copies it; it is for no house."""
