"""A scan or a mesh in, an upright metric Body with axes and landmarks out."""
