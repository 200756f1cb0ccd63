"""Everything `manage.py test` runs: what the steps are, how they run, how they are summed up."""
