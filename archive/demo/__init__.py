"""The link simulator and the invented job that shows the whole flow."""
