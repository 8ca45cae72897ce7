"""What a rig's log says of its pet: the parameters of a model, with their doubt."""
