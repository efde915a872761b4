"""What people write on the pages of permits."""
