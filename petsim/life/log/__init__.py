"""The log of a rig: what it saw and did, whether it was a real or a simulated one."""
