"""Photos with marker sheets in, a Scan out; never knows whose body it is."""
