"""A patch in, a :class:`~fitkit.flatten.flat_patch.FlatPatch` with its stretch field out; draws nothing."""
