"""The claim file of one link: everything the archive knows of it, as documents and as a bag that proves itself."""
