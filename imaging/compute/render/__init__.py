"""From values of a master to pixels on a screen."""
