"""A flat patch in, a Template with allowances, marks and words out."""
