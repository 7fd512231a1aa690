"""Whether, when and why the next coat can go on."""
