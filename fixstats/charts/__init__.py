"""A finding in, a picture out; computes nothing."""
