import django.db.models.deletion
from django.db import migrations, models

from census.rounds.models.scans import SCAN_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):

    dependencies = [
        ('book', '0004_named_numbers_and_statements'),
        ('people', '0003_devices_and_codes'),
        ('rounds', '0003_procedure'),
    ]

    operations = [
        migrations.CreateModel(
            name='Scan',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveSmallIntegerField()),
                ('added_at', models.DateTimeField()),
                ('added_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='scans_added', to='people.person')),
                ('document', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='book.document')),
                ('sheet', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='scans', to='rounds.sheet')),
            ],
            options={
                'ordering': ['sheet', 'number'],
                'constraints': [models.UniqueConstraint(fields=('sheet', 'number'), name='scan_number_is_unique'), models.UniqueConstraint(fields=('sheet', 'document'), name='scan_once')],
            },
        ),
        InstallTriggers(*(trigger.name for trigger in SCAN_TRIGGERS)),
    ]
