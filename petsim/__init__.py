"""petsim: a discrete-event simulator of a virtual-pet care regime."""
