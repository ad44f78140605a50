/* The arithmetic of a running lift's sub-step a second time, in C, on the very records of the kernels.
 *
 * world.h, written from the record's layout, declares World, Leg, Motor, Bridge, ...  Everything that a drive in the
 * middle of a move needs is here: racking, guide friction with tilt, drag, thread and gear, the brush law, the averaged
 * bridge with its limit, the soft supply, the search for events, every booking of energy, unequal commutations, filters.
 * Anything else (an event, friction below its Stribeck speeds, a nut in its play) makes it return the steps done so far.
 */
#include <math.h>
#include "world.h"

enum { COAST = 0, DRIVE = 1 };
static const double GRAVITY = 9.81, TURN = 6.283185307179586;

static double source_current(const Supply *s, double voltage)
{
    double current = (s->open_voltage - voltage) * s->conductance;
    if (current > s->current_limit) return s->current_limit;
    return current < 0.0 && s->back_feed == 0 ? 0.0 : current;
}

static void spread(World *w, int ended)
{
    Deck *d = &w->deck;
    double tilt_x = 0.0, tilt_y = 0.0;
    for (long q = 0; q < w->n_legs; q++) {
        Leg *l = &w->legs[q];
        double z = ended ? l->scratch.end_travel : l->travel;
        tilt_x += l->slope_x * z;
        tilt_y += l->slope_y * z;
    }
    double mx = d->tilt_stiffness_x * tilt_x, my = d->tilt_stiffness_y * tilt_y;
    d->bending = my != 0.0 ? sqrt(mx * mx + my * my) : fabs(mx);
    for (long q = 0; q < w->n_legs; q++) {
        Leg *l = &w->legs[q];
        l->scratch.deck_force = l->share + mx * l->slope_x + my * l->slope_y;
        l->lifted = 0;
    }
}

static double guide_force(const Leg *l, double bending, double share)
{
    return l->guide_friction + bending * share;
}

static double nut_force(const Leg *l, double guide, double travel)
{
    double stop = 0.0;
    if (travel < l->stop_low) stop = l->stop_stiffness * (l->stop_low - travel);
    else if (travel > l->stop_high) stop = l->stop_stiffness * (l->stop_high - travel);
    return l->scratch.deck_force + l->moving_mass * GRAVITY + l->scratch.direction * guide - stop;
}

static double brush(const Motor *m, double current)
{
    double x = current * m->inverse_brush_current, q = x * x, share;
    if (x > 4.97) return m->brush_drop;
    if (x < -4.97) return -m->brush_drop;
    share = x * (135135.0 + q * (17325.0 + q * (378.0 + q))) / (135135.0 + q * (62370.0 + q * (3150.0 + 28.0 * q)));
    return m->brush_drop * (share > 1.0 ? 1.0 : share < -1.0 ? -1.0 : share);
}

static double speed_rate(const Leg *l, double current, double speed, double force, double *drag)
{
    double direction = l->scratch.direction, push = force * direction;
    *drag = l->motor.coulomb + l->motor.viscous * (speed * direction);
    double torque = *drag + (push < 0.0 ? -push * l->assist.torque : push * l->resist.torque);
    return (l->motor.hot_constant * current - direction * torque) * l->inverse_inertia;
}

/* 0 where the limit takes hold, which is an event */
static int begin_leg(Leg *l, double bending, double voltage)
{
    Scratch *s = &l->scratch;
    const Motor *m = &l->motor;
    const Bridge *b = &l->bridge;
    l->deck_force = s->deck_force;
    s->direction = m->speed > 0.0 ? 1.0 : -1.0;
    l->stuck = 0;
    s->guide_share = l->guide_coefficient == 0.0 ? 0.0 : 2.0 * l->guide_coefficient / (l->guide_overlap - l->guide_overlap_loss * l->travel);
    s->guide = guide_force(l, bending, s->guide_share);
    s->nut_force = nut_force(l, s->guide, l->travel);
    s->engaged = 1;
    s->speed_rate = speed_rate(l, m->current, m->speed, s->nut_force, &s->drag);
    s->brush = brush(m, m->current);
    double sign = b->duty >= 0.0 ? 1.0 : -1.0, u = b->duty * voltage;
    s->share = b->duty;
    s->diode = 0.0;
    s->held = 0;
    if (b->synchronous == 0) {
        if (m->current * sign >= 0.0) {
            double off = 1.0 - sign * b->duty;
            u -= sign * off * b->diode_drop;
            s->diode = off * b->diode_drop;
        } else {
            u = sign * (voltage + 2.0 * b->diode_drop);
            s->share = sign;
            s->diode = 2.0 * b->diode_drop;
        }
    }
    if (m->current * sign >= b->limit) return 0;
    double need = (m->hot_resistance + b->resistance) * m->current + m->hot_constant * m->speed + s->brush;
    s->current_rate = (u - need) * m->inverse_inductance;
    return 1;
}

static void predict(Leg *l, double span)
{
    Scratch *s = &l->scratch;
    s->end_current = l->motor.current + span * s->current_rate;
    s->end_speed = l->motor.speed + span * s->speed_rate;
    s->end_travel = l->travel + 0.5 * span * l->spindle.travel_per_radian * (l->motor.speed + s->end_speed);
}

static double end_leg(Leg *l, double bending, double voltage, double span)
{
    Scratch *s = &l->scratch;
    const Motor *m = &l->motor;
    double current = s->end_current, speed = s->end_speed;
    s->end_guide = guide_force(l, bending, s->guide_share);
    s->end_nut_force = nut_force(l, s->end_guide, s->end_travel);
    s->end_speed_rate = speed_rate(l, current, speed, s->end_nut_force, &s->end_drag);
    s->end_share = s->share;
    s->end_diode = s->diode;
    s->end_brush = brush(m, current);
    double u = s->share * voltage - (m->current > 0.0 ? s->diode : -s->diode);
    double rest = u - (m->hot_resistance + l->bridge.resistance) * current - m->hot_constant * speed - s->end_brush;
    s->end_current_rate = rest * m->inverse_inductance;
    s->end_speed = m->speed + 0.5 * span * (s->speed_rate + s->end_speed_rate);
    s->end_current = m->current + 0.5 * span * (s->current_rate + s->end_current_rate);
    return s->end_share * current;
}

static int happens(Leg *l, double span)
{
    Scratch *s = &l->scratch;
    double i0 = l->motor.current, i1 = s->end_current, sign = l->bridge.duty >= 0.0 ? 1.0 : -1.0;
    double v0 = l->spindle.travel_per_radian * l->motor.speed, v1 = l->spindle.travel_per_radian * s->end_speed;
    double climb = 0.5 * span * (v0 + v1), low = l->travel - l->stop_low, high = l->travel - l->stop_high;
    s->event = 0;
    s->event_time = span;
    s->event_span = span;
    if (i0 * i1 < 0.0 && l->bridge.synchronous == 0) return 1;
    if ((l->bridge.limit - i0 * sign) * (l->bridge.limit - i1 * sign) < 0.0) return 1;
    return l->motor.speed * s->end_speed <= 0.0 || low * (low + climb) < 0.0 || high * (high + climb) < 0.0;
}

static double boundary(const Motor *m, long index)
{
    long c = m->commutations, place = (index % c + c) % c;
    return ((double)index + m->pitch[place]) * TURN / (double)c;
}

static double time_to_turn(double angle, double speed, double end_speed, double span)
{
    if (angle == 0.0) return 0.0;
    double bend = 0.5 * (end_speed - speed) / span, root = speed * speed + 4.0 * bend * angle;
    double below = speed + (angle > 0.0 ? 1.0 : -1.0) * (root > 0.0 ? sqrt(root) : 0.0);
    if (below == 0.0) return span;
    double t = 2.0 * angle / below;
    return t < span ? t : span;
}

static void hear(Leg *l, double instant)
{
    Detector *d = &l->detector;
    l->motor.commuted++;
    l->motor.ordinal++;
    d->heard++;
    if (d->waiting >= (long)(sizeof d->pulse_us / sizeof d->pulse_us[0])) {
        d->lost++;
        return;
    }
    long k = d->waiting++;
    for (; k > 0 && d->pulse_us[k - 1] > instant; k--) d->pulse_us[k] = d->pulse_us[k - 1];
    d->pulse_us[k] = instant;
}

static void pass_commutations(Leg *l, double turned, double end_speed, double span, double time)
{
    Motor *m = &l->motor;
    double end = m->angle + turned;
    while (end >= m->above) {
        double instant = time + 1e6 * time_to_turn(m->above - m->angle, m->speed, end_speed, span);
        m->below = m->above;
        m->above = boundary(m, ++m->place + 1);
        hear(l, instant);
    }
    while (end < m->below) {
        double instant = time + 1e6 * time_to_turn(m->below - m->angle, m->speed, end_speed, span);
        m->above = m->below;
        m->below = boundary(m, --m->place);
        hear(l, instant);
    }
    m->angle = end;
}

static void commit_leg(Leg *l, double span, double time)
{
    Scratch *s = &l->scratch;
    Motor *m = &l->motor;
    Energy *e = &l->energy;
    double rx = l->spindle.travel_per_radian, mean = 0.5 * (m->speed + s->end_speed);
    double turned = span * mean, way = span * fabs(mean), half = 0.5 * span;
    double force = 0.5 * (s->nut_force + s->end_nut_force), pressed = fabs(force) * way;
    const Flank *flank = force * s->direction < 0.0 ? &l->assist : &l->resist;
    e->drag += 0.5 * (s->drag + s->end_drag) * way;
    e->thread += pressed * flank->thread_heat;
    e->collar += pressed * l->resist.collar_heat;
    e->gear += pressed * flank->gear_heat;
    e->guide += 0.5 * (s->guide + s->end_guide) * rx * way;
    e->work += (l->share + l->moving_mass * GRAVITY) * rx * turned;
    pass_commutations(l, turned, s->end_speed, span, time);
    l->travel += rx * span * mean;
    m->speed = s->end_speed;
    double i0 = m->current, i1 = s->end_current, squares = half * (i0 * i0 + i1 * i1);
    e->copper += m->hot_resistance * squares;
    e->brush += half * (s->brush * i0 + s->end_brush * i1);
    e->bridge += l->bridge.resistance * squares;
    if (s->diode > 0.0) e->diode += half * (s->diode * fabs(i0) + s->end_diode * fabs(i1));
    m->current = i1;
    if (fabs(i1) > m->peak_current) m->peak_current = fabs(i1);
}

static void book_supply(Supply *s, double span)
{
    double v0 = s->voltage, v1 = s->end_voltage, c1 = source_current(s, v1);
    double charge = 0.5 * span * (s->load + s->end_load) + s->capacitance * (v1 - v0);
    double heat = 0.5 * s->resistance * charge * (s->given + c1);
    s->energy_in += 0.5 * (v0 + v1) * charge + heat;
    s->energy_heat += heat;
    s->current = c1;
    s->voltage = v1;
    if (v1 < s->lowest) s->lowest = v1;
}

static void follow(Sensor *s, double value)
{
    s->filtered += s->filter_share * (value * s->gain + s->offset - s->filtered);
}

static int covered(const Leg *l)
{
    double pace = fabs(l->motor.speed);
    return l->bridge.mode == DRIVE && l->motor.current != 0.0 && l->play >= 0.0 && l->motor.speed > 0.0
        && pace > 1.1 * l->motor.stribeck_end && pace > 1.1 * l->spindle.stribeck_end;
}

/* Advance by up to `steps` sub-steps; returns how many were done. */
long advance(World *w, long steps)
{
    Supply *p = &w->supply;
    for (long k = 0; k < steps; k++) {
        double span = w->sub_step, load = 0.0, time = (double)w->time_us;
        spread(w, 0);
        for (long q = 0; q < w->n_legs; q++) {
            Leg *l = &w->legs[q];
            if (!covered(l) || !begin_leg(l, w->deck.bending, p->voltage)) return k;
            load += l->scratch.share * l->motor.current;
        }
        p->load = load;
        p->given = source_current(p, p->voltage);
        p->rate = (p->given - load) * p->elastance;
        for (long q = 0; q < w->n_legs; q++) predict(&w->legs[q], span);
        spread(w, 1);
        double voltage = p->voltage + span * p->rate;
        p->end_load = 0.0;
        for (long q = 0; q < w->n_legs; q++) p->end_load += end_leg(&w->legs[q], w->deck.bending, voltage, span);
        double end_rate = (source_current(p, voltage) - p->end_load) * p->elastance;
        p->end_voltage = p->voltage + 0.5 * span * (p->rate + end_rate);
        for (long q = 0; q < w->n_legs; q++)
            if (happens(&w->legs[q], span)) return k;
        for (long q = 0; q < w->n_legs; q++) commit_leg(&w->legs[q], span, time);
        book_supply(p, span);
        w->time_us += w->sub_step_us;
        for (long q = 0; q < w->n_legs; q++) follow(&w->legs[q].current_sensor, w->legs[q].motor.current);
        follow(&w->supply_sensor, p->voltage);
    }
    return steps;
}
