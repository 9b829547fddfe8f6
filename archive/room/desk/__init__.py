"""The desk: handing in and looking after, in the browser. It does what the commands do, by the same functions."""
