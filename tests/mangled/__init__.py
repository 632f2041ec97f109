"""Files that a person wrote, mangled: nothing but a message that says where is the answer."""
