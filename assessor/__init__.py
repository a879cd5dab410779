"""An honest ear for single-note guitar practice."""
