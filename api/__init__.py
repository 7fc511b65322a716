"""Every door: HTTP routes, the command line, the nightly run. The only folder that knows HTTP, settings and the clock."""
