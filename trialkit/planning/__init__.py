"""Planning a trial: how many trucks and miles, who carries what, how well it is read, and when it is looked at."""
