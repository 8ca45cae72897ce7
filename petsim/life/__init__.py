"""One life: what happens when a model and a regime meet."""
