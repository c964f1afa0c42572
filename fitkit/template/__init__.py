"""A flat patch in, a :class:`~fitkit.template.template.Template` with allowances, marks and words out."""
