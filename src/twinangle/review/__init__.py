"""A page in the browser of this machine: look at every recording, decide, give a reason."""
