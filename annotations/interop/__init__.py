"""Documents of the open standards to dataclasses and back; pure, without Django."""
