import django.contrib.auth.models
import django.contrib.auth.validators
import django.contrib.postgres.constraints
import django.contrib.postgres.fields
import django.contrib.postgres.operations
import django.db.models.deletion
import django.db.models.functions.comparison
import django.utils.timezone
import jobs.models.base
import jobs.models.homes
import jobs.models.people
import jobs.models.rules
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('auth', '0012_alter_user_first_name_max_length'),
    ]

    operations = [
        # one exclusion constraint holds a key and a range
        django.contrib.postgres.operations.BtreeGistExtension(),
        migrations.CreateModel(
            name='Home',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('code', models.CharField(help_text="the company's number for this home", max_length=20, unique=True)),
                ('name', models.CharField(blank=True, max_length=120)),
                ('kind', models.CharField(choices=[('manufactured', 'manufactured home'), ('pier_and_beam', 'pier-and-beam house')], max_length=16)),
                ('sections', models.PositiveSmallIntegerField(default=1)),
                ('width_ft', models.DecimalField(decimal_places=3, max_digits=6)),
                ('length_ft', models.DecimalField(decimal_places=3, max_digits=6)),
                ('built_on', models.DateField(blank=True, null=True)),
                ('label_number', models.CharField(blank=True, max_length=40)),
                ('data_plate', models.TextField(blank=True)),
                ('wall_finish', models.CharField(choices=[('panel', 'panel or vinyl'), ('gypsum', 'gypsum board'), ('plaster', 'plaster'), ('brick', 'brick veneer')], default='panel', max_length=10)),
                ('roof_live_psf', models.DecimalField(blank=True, decimal_places=1, max_digits=5, null=True)),
                ('wind_zone', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('soil_class', models.CharField(choices=[('1', '1 rock, hardpan'), ('2', '2 gravel, dense sand'), ('3', '3 sand, silty or clayey sand'), ('4A', '4A loose to medium sand, firm to stiff clay'), ('4B', '4B loose sand, firm clay'), ('5', '5 fill, peat, organic'), ('unknown', 'not known')], default='unknown', max_length=8)),
                ('land_owner', models.CharField(blank=True, max_length=120)),
                ('has_foundation_letter', models.BooleanField(default=False, help_text="an engineer's letter for a lender is on file: work on supports may void it")),
                ('access_notes', models.TextField(blank=True, help_text='gate, dog, shut-offs, hatch')),
                ('archived_at', models.DateTimeField(blank=True, null=True)),
            ],
        ),
        migrations.CreateModel(
            name='Point',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('label', models.CharField(max_length=12)),
                ('surface', models.CharField(choices=[('i_beam', 'I-beam'), ('rim', 'rim joist'), ('mate_line', 'mate line'), ('girder', 'girder'), ('floor', 'floor'), ('door_jamb', 'door jamb'), ('drain_hub', 'drain hub'), ('outside', 'outside mark')], max_length=12)),
                ('beam', models.CharField(blank=True, help_text='letter of the line that the point lies on', max_length=4)),
                ('x_ft', models.DecimalField(decimal_places=3, max_digits=7)),
                ('y_ft', models.DecimalField(decimal_places=3, max_digits=7)),
                ('design_offset_in', models.DecimalField(decimal_places=4, default=0, help_text="how much higher this surface was built than the I-beam's", max_digits=7)),
                ('walk_order', models.PositiveIntegerField(default=0)),
                ('archived_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['walk_order', 'label'],
            },
        ),
        migrations.CreateModel(
            name='User',
            fields=[
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                ('username', models.CharField(error_messages={'unique': 'A user with that username already exists.'}, help_text='Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.', max_length=150, unique=True, validators=[django.contrib.auth.validators.UnicodeUsernameValidator()], verbose_name='username')),
                ('first_name', models.CharField(blank=True, max_length=150, verbose_name='first name')),
                ('last_name', models.CharField(blank=True, max_length=150, verbose_name='last name')),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='email address')),
                ('is_staff', models.BooleanField(default=False, help_text='Designates whether the user can log into this admin site.', verbose_name='staff status')),
                ('is_active', models.BooleanField(default=True, help_text='Designates whether this user should be treated as active. Unselect this instead of deleting accounts.', verbose_name='active')),
                ('date_joined', models.DateTimeField(default=django.utils.timezone.now, verbose_name='date joined')),
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('roles', django.contrib.postgres.fields.ArrayField(base_field=models.CharField(choices=[('manager', 'manager'), ('office', 'office'), ('crew_lead', 'crew lead'), ('crew', 'crew')], max_length=12), blank=True, default=list, size=None)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('language', models.CharField(choices=[('en', 'English'), ('es', 'Español')], default='en', max_length=5)),
                ('length_unit', models.CharField(choices=[('in', 'inches and sixteenths'), ('mm', 'millimetres')], default='in', max_length=2)),
                ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
                ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
            ],
            managers=[
                ('objects', django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name='Customer',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=120)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('postal_address', models.TextField(blank=True)),
                ('notes', models.TextField(blank=True)),
                ('archived_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='customer_has_a_name')],
            },
        ),
        migrations.CreateModel(
            name='DeviceToken',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=80)),
                ('digest', models.CharField(editable=False, max_length=64, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('expires_at', models.DateTimeField()),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
                ('last_used_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='device_tokens', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='HomeContact',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('part', models.CharField(choices=[('owner', 'owner'), ('tenant', 'tenant'), ('park', 'park or land owner'), ('agent', 'agent')], default='owner', max_length=8)),
                ('from_on', models.DateField(blank=True, null=True)),
                ('to_on', models.DateField(blank=True, null=True)),
                ('customer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='homes', to='jobs.customer')),
                ('home', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='contacts', to='jobs.home')),
            ],
        ),
        migrations.CreateModel(
            name='Benchmark',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('mark_class', models.CharField(choices=[('deep_rod', 'deep rod'), ('well_casing', 'well casing'), ('slab', 'slab'), ('curb', 'curb or street'), ('masonry', 'neighbouring masonry'), ('pole', 'nail in a pole'), ('driven_rod', 'driven rod')], max_length=12)),
                ('description', models.CharField(blank=True, max_length=200)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('replaced_by', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='replaces', to='jobs.benchmark')),
                ('point', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='benchmark', to='jobs.point')),
            ],
        ),
        migrations.CreateModel(
            name='RuleSet',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=80)),
                ('version', models.PositiveIntegerField(default=1)),
                ('values', models.JSONField(blank=True, default=dict, validators=[jobs.models.rules.check_rule_values])),
                ('source', models.TextField(blank=True, help_text='who decided these values, and on what ground')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('name', 'version'), name='rule_set_version_once'), models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='rule_set_has_a_name')],
            },
        ),
        migrations.AddField(
            model_name='home',
            name='rule_set',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='homes', to='jobs.ruleset'),
        ),
        migrations.CreateModel(
            name='Company',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=120)),
                ('letterhead', models.TextField(blank=True)),
                ('time_zone', models.CharField(default='UTC', max_length=64, validators=[jobs.models.people.check_time_zone])),
                ('currency', models.CharField(default='USD', max_length=3)),
                ('tax_pct', models.DecimalField(decimal_places=3, default=0, max_digits=5)),
                ('licence_number', models.CharField(blank=True, max_length=60)),
                ('licence_expires_on', models.DateField(blank=True, null=True)),
                ('insurance_number', models.CharField(blank=True, max_length=60)),
                ('insurance_expires_on', models.DateField(blank=True, null=True)),
                ('is_only_one', models.BooleanField(default=True, editable=False)),
                ('rule_set', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='companies', to='jobs.ruleset')),
            ],
            options={
                'verbose_name_plural': 'companies',
            },
        ),
        migrations.CreateModel(
            name='Siting',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('address', models.CharField(max_length=200)),
                ('from_on', models.DateField()),
                ('to_on', models.DateField(blank=True, null=True)),
                ('marked_end', models.CharField(blank=True, help_text='which end is x = 0, as painted or photographed', max_length=120)),
                ('north_deg', models.DecimalField(blank=True, decimal_places=1, help_text='compass bearing of the x axis, from the marked end along the home', max_digits=4, null=True)),
                ('home', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sitings', to='jobs.home')),
            ],
        ),
        migrations.AddField(
            model_name='point',
            name='siting',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='points', to='jobs.siting'),
        ),
        migrations.CreateModel(
            name='NeighbourPair',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('direction', models.CharField(choices=[('along', 'along the beam'), ('across', 'across the beams'), ('mate_line', 'along the mate line')], default='along', max_length=9)),
                ('tolerance_in', models.DecimalField(blank=True, decimal_places=4, max_digits=6, null=True)),
                ('is_proposed', models.BooleanField(default=False, help_text='made by the layout generator, not by a person')),
                ('a', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='pairs_as_a', to='jobs.point')),
                ('b', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='pairs_as_b', to='jobs.point')),
                ('siting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='neighbour_pairs', to='jobs.siting')),
            ],
        ),
        migrations.CreateModel(
            name='Connection',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('code', models.CharField(max_length=12)),
                ('kind', models.CharField(choices=[('drain', 'drain'), ('water', 'water riser'), ('gas', 'gas line'), ('duct', 'duct crossover'), ('electric', 'electric feeder'), ('telecom', 'telecom'), ('steps', 'steps or porch'), ('skirting', 'skirting'), ('chimney', 'masonry chimney'), ('ac', 'AC lines')], max_length=10)),
                ('x_ft', models.DecimalField(decimal_places=3, max_digits=7)),
                ('y_ft', models.DecimalField(decimal_places=3, max_digits=7)),
                ('free_up_in', models.DecimalField(blank=True, decimal_places=4, max_digits=6, null=True)),
                ('free_down_in', models.DecimalField(blank=True, decimal_places=4, max_digits=6, null=True)),
                ('measured', models.CharField(choices=[('not_measured', 'not measured'), ('by_hand', 'moved by hand'), ('tape', 'measured with a tape'), ('flex', 'flexible: listed length')], default='not_measured', max_length=12)),
                ('free_min', models.DecimalField(blank=True, decimal_places=1, help_text="minutes to free it; empty: it can't be freed", max_digits=6, null=True)),
                ('trade', models.CharField(choices=[('crew', 'own crew'), ('plumber', 'licensed plumber'), ('gas_fitter', 'licensed gas fitter'), ('electrician', 'licensed electrician'), ('hvac', 'licensed HVAC'), ('mason', 'mason')], default='crew', max_length=12)),
                ('note', models.TextField(blank=True)),
                ('archived_at', models.DateTimeField(blank=True, null=True)),
                ('siting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='connections', to='jobs.siting')),
            ],
        ),
        migrations.CreateModel(
            name='Strap',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('code', models.CharField(max_length=12)),
                ('anchor_kind', models.CharField(choices=[('auger', 'auger'), ('cross_drive', 'cross-drive (rock)'), ('slab', 'in slab'), ('driven', 'driven plate')], default='auger', max_length=12)),
                ('soil_class', models.CharField(choices=[('1', '1 rock, hardpan'), ('2', '2 gravel, dense sand'), ('3', '3 sand, silty or clayey sand'), ('4A', '4A loose to medium sand, firm to stiff clay'), ('4B', '4B loose sand, firm clay'), ('5', '5 fill, peat, organic'), ('unknown', 'not known')], default='unknown', max_length=8)),
                ('run_in', models.DecimalField(decimal_places=4, help_text='horizontal, anchor head to beam hook', max_digits=7)),
                ('rise_in', models.DecimalField(decimal_places=4, help_text='vertical, anchor head to beam hook', max_digits=7)),
                ('slack_in', models.DecimalField(decimal_places=4, default=0, max_digits=6)),
                ('tension_lb', models.DecimalField(blank=True, decimal_places=1, max_digits=7, null=True)),
                ('wraps', models.DecimalField(blank=True, decimal_places=2, max_digits=5, null=True)),
                ('width_in', models.DecimalField(decimal_places=3, default='1.25', max_digits=5)),
                ('thickness_in', models.DecimalField(decimal_places=4, default='0.035', max_digits=5)),
                ('bolt_in', models.DecimalField(decimal_places=4, default='0.625', max_digits=5)),
                ('note', models.TextField(blank=True)),
                ('archived_at', models.DateTimeField(blank=True, null=True)),
                ('point', models.ForeignKey(help_text='the frame point whose rise it follows', on_delete=django.db.models.deletion.PROTECT, related_name='straps', to='jobs.point')),
                ('siting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='straps', to='jobs.siting')),
            ],
        ),
        migrations.CreateModel(
            name='Support',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('frame', 'main beam'), ('perimeter', 'perimeter'), ('mate_line', 'mate line'), ('opening', 'beside an opening')], default='frame', max_length=10)),
                ('footing', models.CharField(choices=[('poured', 'poured concrete'), ('precast', 'precast concrete'), ('runner', 'concrete runner'), ('abs', 'listed plastic pad'), ('wood', 'treated wood'), ('bare', 'bare ground')], default='precast', max_length=8)),
                ('height_in', models.DecimalField(blank=True, decimal_places=4, help_text='footing to the underside of the beam', max_digits=7, null=True)),
                ('stack', django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=20), blank=True, help_text='courses from the top down', null=True, size=None)),
                ('tier', models.CharField(blank=True, choices=[('single', 'single stack'), ('double', 'double, interlocked'), ('engineer', "engineer's design")], max_length=8)),
                ('keep_courses', models.PositiveSmallIntegerField(blank=True, help_text='sound courses at the bottom that stay', null=True)),
                ('is_corner', models.BooleanField(default=False)),
                ('gap_in', models.DecimalField(decimal_places=4, default=0, help_text='gap at the wedge: a gap carries nothing', max_digits=6)),
                ('max_raise_in', models.DecimalField(blank=True, decimal_places=4, max_digits=6, null=True)),
                ('max_lower_in', models.DecimalField(blank=True, decimal_places=4, max_digits=6, null=True)),
                ('condition', models.CharField(choices=[('ok', 'OK'), ('note', 'note'), ('fix', 'fix'), ('stop', 'stop')], default='ok', max_length=4)),
                ('note', models.TextField(blank=True)),
                ('installed_on', models.DateField(blank=True, null=True)),
                ('removed_on', models.DateField(blank=True, null=True)),
                ('point', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='supports', to='jobs.point')),
            ],
        ),
        migrations.CreateModel(
            name='Visit',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('inspection', 'inspection'), ('releveling', 'releveling'), ('recheck', 'recheck'), ('call_back', 'call-back')], max_length=12)),
                ('state', models.CharField(choices=[('booked', 'booked'), ('on_site', 'on site'), ('done', 'done'), ('refused', 'entry refused'), ('cancelled', 'cancelled')], default='booked', max_length=10)),
                ('starts_at', models.DateTimeField()),
                ('ends_at', models.DateTimeField()),
                ('note', models.TextField(blank=True)),
                ('crew', models.ManyToManyField(blank=True, related_name='visits', to=settings.AUTH_USER_MODEL)),
                ('lead', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='visits_led', to=settings.AUTH_USER_MODEL)),
                ('siting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='visits', to='jobs.siting')),
            ],
        ),
        migrations.AddConstraint(
            model_name='user',
            constraint=models.CheckConstraint(condition=models.Q(('roles__contained_by', ['manager', 'office', 'crew_lead', 'crew'])), name='user_roles_are_known'),
        ),
        migrations.AddConstraint(
            model_name='homecontact',
            constraint=models.CheckConstraint(condition=models.Q(('from_on__isnull', True), ('to_on__isnull', True), ('to_on__gte', models.F('from_on')), _connector='OR'), name='home_contact_ends_after_start'),
        ),
        migrations.AddConstraint(
            model_name='benchmark',
            constraint=models.CheckConstraint(condition=models.Q(('replaced_by__isnull', True), ('retired_on__isnull', False), _connector='OR'), name='benchmark_replaced_is_retired'),
        ),
        migrations.AddConstraint(
            model_name='benchmark',
            constraint=models.CheckConstraint(condition=models.Q(('replaced_by', models.F('id')), _negated=True), name='benchmark_not_its_own_successor'),
        ),
        migrations.AddConstraint(
            model_name='home',
            constraint=models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='home_has_a_code'),
        ),
        migrations.AddConstraint(
            model_name='home',
            constraint=models.CheckConstraint(condition=models.Q(('sections__gte', 1), ('sections__lte', 4)), name='home_1_to_4_sections'),
        ),
        migrations.AddConstraint(
            model_name='home',
            constraint=models.CheckConstraint(condition=models.Q(('length_ft__gt', 0), ('length_ft__lte', 200), ('width_ft__gt', 0), ('width_ft__lte', 200)), name='home_size_up_to_200_ft'),
        ),
        migrations.AddConstraint(
            model_name='home',
            constraint=models.CheckConstraint(condition=models.Q(('wind_zone__isnull', True), models.Q(('wind_zone__gte', 1), ('wind_zone__lte', 3)), _connector='OR'), name='home_wind_zone_1_to_3'),
        ),
        migrations.AddConstraint(
            model_name='home',
            constraint=models.CheckConstraint(condition=models.Q(('roof_live_psf__isnull', True), ('roof_live_psf__gte', 0), _connector='OR'), name='home_roof_load_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='company',
            constraint=models.UniqueConstraint(fields=('is_only_one',), name='company_only_one'),
        ),
        migrations.AddConstraint(
            model_name='company',
            constraint=models.CheckConstraint(condition=models.Q(('is_only_one', True)), name='company_flag_is_true'),
        ),
        migrations.AddConstraint(
            model_name='company',
            constraint=models.CheckConstraint(condition=models.Q(('tax_pct__gte', 0), ('tax_pct__lte', 100)), name='company_tax_0_to_100'),
        ),
        migrations.AddConstraint(
            model_name='siting',
            constraint=models.CheckConstraint(condition=models.Q(('to_on__isnull', True), ('to_on__gt', models.F('from_on')), _connector='OR'), name='siting_ends_after_start'),
        ),
        migrations.AddConstraint(
            model_name='siting',
            constraint=models.CheckConstraint(condition=models.Q(('north_deg__isnull', True), models.Q(('north_deg__gte', 0), ('north_deg__lt', 360)), _connector='OR'), name='siting_north_0_to_360'),
        ),
        migrations.AddConstraint(
            model_name='siting',
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(expressions=[('home', '='), (jobs.models.homes.DateRange('from_on', 'to_on'), '&&')], name='siting_one_place_at_a_time'),
        ),
        migrations.AddConstraint(
            model_name='point',
            constraint=models.UniqueConstraint(condition=models.Q(('archived_at__isnull', True)), fields=('siting', 'label'), name='point_label_once_a_siting'),
        ),
        migrations.AddConstraint(
            model_name='point',
            constraint=models.CheckConstraint(condition=models.Q(('label', ''), _negated=True), name='point_has_a_label'),
        ),
        migrations.AddConstraint(
            model_name='point',
            constraint=models.CheckConstraint(condition=models.Q(('x_ft__gte', -1000), ('x_ft__lte', 1000), ('y_ft__gte', -1000), ('y_ft__lte', 1000)), name='point_within_1000_ft'),
        ),
        migrations.AddConstraint(
            model_name='neighbourpair',
            constraint=models.CheckConstraint(condition=models.Q(('a', models.F('b')), _negated=True), name='pair_of_two_points'),
        ),
        migrations.AddConstraint(
            model_name='neighbourpair',
            constraint=models.UniqueConstraint(django.db.models.functions.comparison.Least('a', 'b'), django.db.models.functions.comparison.Greatest('a', 'b'), name='pair_once'),
        ),
        migrations.AddConstraint(
            model_name='neighbourpair',
            constraint=models.CheckConstraint(condition=models.Q(('tolerance_in__isnull', True), ('tolerance_in__gte', 0), _connector='OR'), name='pair_tolerance_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='connection',
            constraint=models.UniqueConstraint(condition=models.Q(('archived_at__isnull', True)), fields=('siting', 'code'), name='connection_code_once_a_siting'),
        ),
        migrations.AddConstraint(
            model_name='connection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('free_down_in__isnull', True), ('free_up_in__isnull', True), ('measured', 'not_measured')), models.Q(models.Q(('measured', 'not_measured'), _negated=True), ('free_down_in__isnull', False), ('free_up_in__isnull', False)), _connector='OR'), name='connection_travel_with_how_measured'),
        ),
        migrations.AddConstraint(
            model_name='connection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('free_up_in__isnull', True), ('free_up_in__gte', 0), _connector='OR'), models.Q(('free_down_in__isnull', True), ('free_down_in__gte', 0), _connector='OR'), models.Q(('free_min__isnull', True), ('free_min__gte', 0), _connector='OR')), name='connection_travel_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='strap',
            constraint=models.UniqueConstraint(condition=models.Q(('archived_at__isnull', True)), fields=('siting', 'code'), name='strap_code_once_a_siting'),
        ),
        migrations.AddConstraint(
            model_name='strap',
            constraint=models.CheckConstraint(condition=models.Q(('rise_in__gte', 0), ('run_in__gte', 0), models.Q(('run_in__gt', 0), ('rise_in__gt', 0), _connector='OR')), name='strap_has_a_length'),
        ),
        migrations.AddConstraint(
            model_name='strap',
            constraint=models.CheckConstraint(condition=models.Q(('slack_in', 0), models.Q(('slack_in__gt', 0), models.Q(('tension_lb__isnull', True), ('tension_lb', 0), _connector='OR')), _connector='OR'), name='strap_slack_or_tension'),
        ),
        migrations.AddConstraint(
            model_name='strap',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('tension_lb__isnull', True), ('tension_lb__gte', 0), _connector='OR'), models.Q(('wraps__isnull', True), ('wraps__gte', 0), _connector='OR'), ('bolt_in__gt', 0), ('thickness_in__gt', 0), ('width_in__gt', 0)), name='strap_sizes_positive'),
        ),
        migrations.AddConstraint(
            model_name='support',
            constraint=models.UniqueConstraint(condition=models.Q(('removed_on__isnull', True)), fields=('point',), name='support_one_at_a_point'),
        ),
        migrations.AddConstraint(
            model_name='support',
            constraint=models.CheckConstraint(condition=models.Q(('gap_in__gte', 0)), name='support_gap_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='support',
            constraint=models.CheckConstraint(condition=models.Q(('height_in__isnull', True), models.Q(('height_in__gt', 0), ('height_in__lte', 240)), _connector='OR'), name='support_height_up_to_240_in'),
        ),
        migrations.AddConstraint(
            model_name='support',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('max_raise_in__isnull', True), ('max_raise_in__gte', 0), _connector='OR'), models.Q(('max_lower_in__isnull', True), ('max_lower_in__gte', 0), _connector='OR')), name='support_limits_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='support',
            constraint=models.CheckConstraint(condition=models.Q(('removed_on__isnull', True), ('installed_on__isnull', True), ('removed_on__gte', models.F('installed_on')), _connector='OR'), name='support_removed_after_installed'),
        ),
        migrations.AddConstraint(
            model_name='visit',
            constraint=models.CheckConstraint(condition=models.Q(('ends_at__gt', models.F('starts_at'))), name='visit_ends_after_start'),
        ),
    ]
