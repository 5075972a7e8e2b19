"""From runs to the sealed result: the whole job, its budget, and what hangs on choices."""
