"""A body and the maker's tape lines in, patches of the form out; never flattens anything."""
