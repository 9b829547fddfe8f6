"""The hand-over book: documents of a whole job, composed of the sections that somebody asks for."""
