"""A procedural painter: one seeded plan, one stack of paint, every modality from it."""
