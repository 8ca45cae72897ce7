"""What the counters of a rig should show: by day, by hour, and against the log of a real one."""
