"""Ground floor: meshes, curves and rigid motions, in millimetres; knows no step of the work."""
