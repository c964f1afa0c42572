"""Ground floor: the one drawing model, papers, and the tiling of drawings over pages."""
