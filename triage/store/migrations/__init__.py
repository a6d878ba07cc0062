"""The steps that lift older stores, one file a step; each is frozen once it was released."""
