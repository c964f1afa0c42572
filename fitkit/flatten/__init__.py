"""A patch in, a FlatPatch with its stretch field out; draws nothing."""
