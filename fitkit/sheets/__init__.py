"""Templates and the stock in; a Nesting out: where each part lies, and what is left over."""
