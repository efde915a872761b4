import django.db.models.deletion
from django.db import migrations, models

from inventory.db.triggers import InstallTriggers
from inventory.tankside.models.causes import CAUSE_TRIGGERS


class Migration(migrations.Migration):

    dependencies = [
        ('book', '0008_ways_out'),
        ('people', '0006_reports_scope'),
        ('tankside', '0009_post_of_introduced_species'),
    ]

    operations = [
        migrations.CreateModel(
            name='FoundCause',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('cause', models.CharField(help_text='The cause as it was found.', max_length=120)),
                ('how', models.CharField(blank=True, help_text='By what it was found: necropsy, laboratory and its number.', max_length=200)),
                ('stated_at', models.DateTimeField(help_text='When.')),
                ('event', models.ForeignKey(help_text='The death.', on_delete=django.db.models.deletion.PROTECT, related_name='found_causes', to='book.event')),
                ('stated_by', models.ForeignKey(help_text='Who said so.', on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        InstallTriggers(*(trigger.name for trigger in CAUSE_TRIGGERS)),
    ]
