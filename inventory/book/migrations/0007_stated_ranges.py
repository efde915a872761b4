import django.db.models.deletion
from django.db import migrations, models

from inventory.book.models.ranges import RANGE_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):

    dependencies = [
        ('book', '0006_refused_entries'),
    ]

    operations = [
        migrations.CreateModel(
            name='StatedRange',
            fields=[
                ('event', models.OneToOneField(help_text='The event whose number it is.', on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name='stated_range', serialize=False, to='book.event')),
                ('low', models.PositiveIntegerField(help_text='At least so many; empty: not stated.', null=True)),
                ('high', models.PositiveIntegerField(help_text='At most so many; empty: not stated.', null=True)),
            ],
            options={
                'ordering': ['event_id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('low__isnull', False), ('high__isnull', False), _connector='OR'), name='stated_range_says_something'), models.CheckConstraint(condition=models.Q(('low', None), ('high', None), ('low__lte', models.F('high')), _connector='OR'), name='stated_range_low_to_high')],
            },
        ),
        InstallTriggers(*(trigger.name for trigger in RANGE_TRIGGERS)),
    ]
