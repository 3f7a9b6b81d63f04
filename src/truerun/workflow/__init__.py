"""What a person does, one function each; every door calls these."""
