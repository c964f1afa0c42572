"""Ground floor: sheet materials and their thicknesses, as tables with typed values."""
