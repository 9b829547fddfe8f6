"""The link simulator and the demo job: invented data that behaves like the real thing."""
