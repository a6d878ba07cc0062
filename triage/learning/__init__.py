"""What the virtual machine teaches the ranking: how each cause shows in made-up calls."""
