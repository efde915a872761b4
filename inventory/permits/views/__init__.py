"""The pages of permits."""
