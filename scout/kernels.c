/* The inner loops over edges and over points of the ground, compiled where a compiler is at hand; kernels.py
 * calls them.
 *
 * Each function does what a numpy function of boundaries.py, probability.py, optimize.py or terrain.py does,
 * operation by operation (so no fused arithmetic may be allowed), and tests compare the two. Angles, exponents of frames
 * and everything that is worked out once a pair come from numpy. Numbers of parks and pairs are checked there.
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#ifdef _WIN32
#define PUBLIC __declspec(dllexport)
#else
#define PUBLIC __attribute__((visibility("default")))
#endif

#define SLACK 0.97         /* as in boundaries.py */
#define SPHERE_M 111000.0  /* as in boundaries.py */
#define NUDGE 1e-6         /* as in boundaries.py */
#define REACH 4.5          /* sigmas, as in probability.py */

typedef int64_t whole;

/* Of no NaN, and of metres: what the C library does for all numbers takes a tenth of a whole search. */
static inline double larger(double a, double b) { return a > b ? a : b; }
static inline double smaller(double a, double b) { return a < b ? a : b; }
static inline double length(double east, double north) { return sqrt(east * east + north * north); }

/* Of the source this was made from: an older library beside a newer source is not used. */
PUBLIC uint32_t get_source_checksum(void) { return SOURCE_CHECKSUM; }

/* Vertices of outlines, runs of edges with their boxes, and groups of runs of one ring with theirs. */
typedef struct {
    const double *lon, *lat;
    const whole *first, *count; /* of each run: vertex it begins at, edges */
    const double *west, *south, *east, *north, *shrink;
    const whole *group_run; /* first run of each group, and the number of runs at the end */
    const double *group_west, *group_south, *group_east, *group_north, *group_shrink;
    const whole *park_group; /* first group of each park, and the number of groups at the end */
} outlines;

/* Coefficients of the local frame about one point: see make_polynomial_frame. */
typedef struct {
    double x1, x2, y1, y4;
} frame;

typedef struct {
    double x0, y0, x1, y1;
} edge;

static double box_distance(double west, double south, double east, double north, double shrink, double lon,
                           double lat, const frame *f) {
    double scale = smaller(f->x1, SPHERE_M * shrink);
    double dx = scale * larger(0.0, larger(west - lon, lon - east));
    double dy = f->y1 * larger(0.0, larger(south - lat, lat - north));
    return SLACK * length(dx, dy);
}

static double distance_to_run(const outlines *o, whole run, double lon, double lat, const frame *f) {
    return box_distance(o->west[run], o->south[run], o->east[run], o->north[run], o->shrink[run], lon, lat, f);
}

static double distance_to_group(const outlines *o, whole group, double lon, double lat, const frame *f) {
    return box_distance(o->group_west[group], o->group_south[group], o->group_east[group],
                        o->group_north[group], o->group_shrink[group], lon, lat, f);
}

static void project(const outlines *o, whole vertex, double lon, double lat, const frame *f, double *x,
                    double *y) {
    double dlon = o->lon[vertex] - lon, dlat = o->lat[vertex] - lat;
    *x = dlon * (f->x1 + f->x2 * dlat);
    *y = dlat * f->y1 + f->y4 * (dlon * dlon);
}

/* The share of an edge, from its start, at which it comes nearest to the origin; and the square of how near. */
static double nearest_share(double x0, double y0, double dx, double dy, double *squared) {
    double along = -(x0 * dx + y0 * dy) / larger(dx * dx + dy * dy, 1e-12);
    along = smaller(larger(along, 0.0), 1.0);
    double x = x0 + along * dx, y = y0 + along * dy;
    *squared = x * x + y * y;
    return along;
}

/* Of each pair the edge nearest to the point, where on it, and whether the point lies inside. */
PUBLIC void find_nearest_edges(const outlines *o, whole n, const whole *park, const double *lons,
                               const double *lats, const double *frames, whole *vertex, double *share,
                               uint8_t *inside) {
    for (whole k = 0; k < n; k++) {
        double lon = lons[k], lat = lats[k];
        frame f = {frames[k], frames[n + k], frames[2 * n + k], frames[3 * n + k]};
        whole begin = o->park_group[park[k]], end = o->park_group[park[k] + 1];
        double reach = INFINITY;
        int odd = 0;
        for (whole group = begin; group < end; group++) {
            whole run = o->group_run[group], last = o->group_run[group + 1] - 1;
            whole v = o->first[run], z = o->first[last] + o->count[last];
            double x, y;
            if (o->count[run]) {
                project(o, v, lon, lat, &f, &x, &y);
                reach = smaller(reach, length(x, y));
            }
            /* A group wholly east of the point is crossed oddly when its ends lie on either side of the ray. */
            if (o->group_west[group] > lon && (o->lat[v] - lat > 0.0) != (o->lat[z] > lat)) odd ^= 1;
        }
        double best = INFINITY;
        whole nearest = o->first[o->group_run[begin]];
        share[k] = 0.0;
        for (whole group = begin; group < end; group++) {
            int near = distance_to_group(o, group, lon, lat, &f) <= reach;
            int mixed = o->group_west[group] <= lon && o->group_east[group] >= lon &&
                        o->group_south[group] <= lat && o->group_north[group] >= lat;
            if (!near && !mixed) continue;
            for (whole run = o->group_run[group]; run < o->group_run[group + 1]; run++) {
                whole v = o->first[run], edges = o->count[run];
                if (mixed && o->west[run] > lon && (o->lat[v] - lat > 0.0) != (o->lat[v + edges] > lat)) odd ^= 1;
                if (!edges) continue;
                int spans = o->west[run] <= lon && lon <= o->east[run] && o->south[run] <= lat &&
                            lat <= o->north[run];
                if (!spans && !(near && distance_to_run(o, run, lon, lat, &f) <= reach)) continue;
                double x0, y0, x1, y1, squared;
                project(o, v, lon, lat, &f, &x0, &y0);
                for (whole e = v; e < v + edges; e++, x0 = x1, y0 = y1) {
                    project(o, e + 1, lon, lat, &f, &x1, &y1);
                    double along = nearest_share(x0, y0, x1 - x0, y1 - y0, &squared);
                    if (squared < best) best = squared, share[k] = along, nearest = e;
                    if (!spans) continue;
                    double dlon0 = o->lon[e] - lon, dlat0 = o->lat[e] - lat;
                    double dlon1 = o->lon[e + 1] - lon, dlat1 = o->lat[e + 1] - lat;
                    if ((dlat0 > 0.0) == (dlat1 > 0.0)) continue;
                    double turn = dlon0 * dlat1 - dlat0 * dlon1;
                    if ((turn > 0.0) == (dlat1 > 0.0)) odd ^= 1;
                }
                reach = smaller(reach, sqrt(best) * (1.0 + 1e-9));
            }
        }
        vertex[k] = nearest;
        inside[k] = (uint8_t)odd;
    }
}

/* Edges whose own box meets a box in degrees for each pair; only counted where pair is null. */
PUBLIC whole list_edges_in_boxes(const outlines *o, whole n, const whole *park, const double *low,
                                 const double *high, whole *pair, whole *vertex) {
    whole found = 0;
    for (whole k = 0; k < n; k++) {
        double west = low[2 * k], south = low[2 * k + 1], east = high[2 * k], north = high[2 * k + 1];
        for (whole group = o->park_group[park[k]]; group < o->park_group[park[k] + 1]; group++) {
            if (!(o->group_west[group] <= east && o->group_east[group] >= west &&
                  o->group_south[group] <= north && o->group_north[group] >= south))
                continue;
            for (whole run = o->group_run[group]; run < o->group_run[group + 1]; run++) {
                if (!(o->west[run] <= east && o->east[run] >= west && o->south[run] <= north &&
                      o->north[run] >= south))
                    continue;
                for (whole e = o->first[run]; e < o->first[run] + o->count[run]; e++) {
                    double a = o->lon[e], b = o->lon[e + 1];
                    if (!(smaller(a, b) <= east && larger(a, b) >= west)) continue;
                    a = o->lat[e], b = o->lat[e + 1];
                    if (!(smaller(a, b) <= north && larger(a, b) >= south)) continue;
                    if (pair) pair[found] = k, vertex[found] = e;
                    found++;
                }
            }
        }
    }
    return found;
}

/* Signed distances from places to the edges of pairs, positive inside; infinite where none is near. */
PUBLIC void measure_nearby(const whole *first, const double *start, const double *end, const double *known,
                           const uint8_t *inside, whole n, const whole *pair, const double *place,
                           const double *stretch, double *clearance) {
    for (whole k = 0; k < n; k++) {
        whole p = pair[k];
        double px = place[2 * k], py = place[2 * k + 1], sx = stretch[2 * k], sy = stretch[2 * k + 1];
        double rx = (known[2 * p] - px) * sx, ry = (known[2 * p + 1] - py) * sy;
        double best = INFINITY;
        int odd = inside[p];
        for (whole e = first[p]; e < first[p + 1]; e++) {
            double ax = (start[2 * e] - px) * sx, ay = (start[2 * e + 1] - py) * sy;
            double bx = (end[2 * e] - px) * sx, by = (end[2 * e + 1] - py) * sy, squared;
            nearest_share(ax, ay, bx - ax, by - ay, &squared);
            best = smaller(best, squared);
            if ((rx * ay - ry * ax > 0.0) == (rx * by - ry * bx > 0.0)) continue;
            double side = ax * by - ay * bx;
            double there = side + (bx - ax) * ry - (by - ay) * rx;
            if ((side > 0.0) != (there > 0.0)) odd ^= 1;
        }
        clearance[k] = odd ? sqrt(best) : -sqrt(best);
    }
}

/* Where a disc's centre is stopped on a ray: from where to where, and whether the edge is crossed there. */
typedef struct {
    double from, to;
    int flips;
} stop;

typedef struct {
    edge *edges;
    stop *stops;
    whole room, count;
} scratch;

static int keep_edge(scratch *s, double x0, double y0, double x1, double y1) {
    if (s->count == s->room) {
        whole room = s->room ? 2 * s->room : 256;
        edge *edges = realloc(s->edges, (size_t)room * sizeof(edge));
        if (edges) s->edges = edges;
        stop *stops = realloc(s->stops, (size_t)room * sizeof(stop));
        if (stops) s->stops = stops;
        if (!edges || !stops) return 0;
        s->room = room;
    }
    s->edges[s->count++] = (edge){x0, y0, x1, y1};
    return 1;
}

static void free_scratch(scratch *s) {
    free(s->edges);
    free(s->stops);
}

/* Where low < rate t + at < high; empty or everything where the rate is nil. */
static void clip_slab(double rate, double at, double low, double high, double *first, double *last) {
    if (fabs(rate) < 1e-12) {
        int everywhere = low < at && at < high;
        *first = everywhere ? -INFINITY : INFINITY;
        *last = everywhere ? INFINITY : -INFINITY;
        return;
    }
    double t0 = (low - at) / rate, t1 = (high - at) / rate;
    *first = smaller(t0, t1);
    *last = larger(t0, t1);
}

/* Where a ray runs within the radius of an edge: one interval, for the set is convex. */
static int find_stop(const edge *e, double ux, double uy, double radius, stop *found) {
    double across0 = ux * e->y0 - uy * e->x0, across1 = ux * e->y1 - uy * e->x1;
    double along0 = ux * e->x0 + uy * e->y0, along1 = ux * e->x1 + uy * e->y1;
    double beyond = radius * (1.0 + 1e-9) + 1e-9;
    if ((across0 > beyond && across1 > beyond) || (across0 < -beyond && across1 < -beyond)) return 0;
    if (along0 < -beyond && along1 < -beyond) return 0;
    double enter = INFINITY, leave = -INFINITY, half;
    if (radius * radius >= across0 * across0) {
        half = sqrt(radius * radius - across0 * across0);
        enter = along0 - half, leave = along0 + half;
    }
    if (radius * radius >= across1 * across1) {
        half = sqrt(radius * radius - across1 * across1);
        enter = smaller(enter, along1 - half), leave = larger(leave, along1 + half);
    }
    double dx = e->x1 - e->x0, dy = e->y1 - e->y0, size = length(dx, dy);
    if (size > 0.0) {
        double low, high, low2, high2;
        clip_slab((ux * dy - uy * dx) / size, -((e->x0 * dy - e->y0 * dx) / size), -radius, radius, &low, &high);
        clip_slab((ux * dx + uy * dy) / size, -(e->x0 * dx + e->y0 * dy) / size, 0.0, size, &low2, &high2);
        low = larger(low, low2), high = smaller(high, high2);
        if (low < high) enter = smaller(enter, low), leave = larger(leave, high);
    }
    if (!(enter < leave && leave > 0.0)) return 0;
    /* Ahead, by the side of the edge that the start lies on: the same answer for all rays. */
    int crosses = (across0 > 0.0) != (across1 > 0.0) &&
                  (e->x0 * e->y1 - e->y0 * e->x1 > 0.0) == (across1 > 0.0);
    *found = (stop){larger(enter, 0.0), leave, crosses};
    return 1;
}

static double tail(double t, double sigma) {
    double share = t / sigma;
    return exp(-0.5 * (share * share));
}

/* Mass of a circular normal error on the parts of rays where the disc is inside and clear of every edge. */
static double integrate_rays(scratch *s, int inside, double radius, double sigma, whole rays, const double *ux,
                             const double *uy) {
    double whole_mass = 0.0;
    for (whole ray = 0; ray < rays; ray++) {
        whole stops = 0;
        for (whole e = 0; e < s->count; e++) {
            stop found;
            if (!find_stop(&s->edges[e], ux[ray], uy[ray], radius, &found)) continue;
            whole at = stops++;
            for (; at > 0 && s->stops[at - 1].from > found.from; at--) s->stops[at] = s->stops[at - 1];
            s->stops[at] = found;
        }
        double furthest = 0.0, mass = 0.0;
        int free_here = inside;
        for (whole k = 0; k < stops; k++) {
            const stop *one = &s->stops[k];
            if (free_here && one->from > furthest) mass += tail(furthest, sigma) - tail(one->from, sigma);
            free_here ^= one->flips;
            furthest = k ? larger(furthest, one->to) : one->to;
        }
        if (free_here) mass += stops ? tail(furthest, sigma) : 1.0;
        whole_mass += mass;
    }
    return smaller(larger(whole_mass / (double)rays, 0.0), 1.0);
}

/* Edges of a park within reach of a place, kept in metres from it; 0 where memory ran out. */
static int keep_contained(scratch *s, const outlines *o, whole park, double lon, double lat, const frame *f,
                          double reach) {
    for (whole group = o->park_group[park]; group < o->park_group[park + 1]; group++) {
        if (distance_to_group(o, group, lon, lat, f) > reach) continue;
        for (whole run = o->group_run[group]; run < o->group_run[group + 1]; run++) {
            if (!o->count[run] || distance_to_run(o, run, lon, lat, f) > reach) continue;
            double x0, y0, x1, y1, squared;
            whole v = o->first[run];
            project(o, v, lon, lat, f, &x0, &y0);
            for (whole e = v; e < v + o->count[run]; e++, x0 = x1, y0 = y1) {
                project(o, e + 1, lon, lat, f, &x1, &y1);
                nearest_share(x0, y0, x1 - x0, y1 - y0, &squared);
                if (sqrt(squared) <= reach && !keep_edge(s, x0, y0, x1, y1)) return 0;
            }
        }
    }
    return 1;
}

/* The same from edges laid out near a pair, seen from a place. */
static int keep_nearby(scratch *s, const double *start, const double *end, whole from, whole to,
                       const double *place, const double *stretch, double reach) {
    double px = place[0], py = place[1], sx = stretch[0], sy = stretch[1];
    for (whole e = from; e < to; e++) {
        double ax = (start[2 * e] - px) * sx, ay = (start[2 * e + 1] - py) * sy;
        double bx = (end[2 * e] - px) * sx, by = (end[2 * e + 1] - py) * sy, squared;
        nearest_share(ax, ay, bx - ax, by - ay, &squared);
        if (sqrt(squared) <= reach && !keep_edge(s, ax, ay, bx, by)) return 0;
    }
    return 1;
}

/* Whether the origin lies inside, told from a place whose side is known: east, north, and 1 where it is inside.
 * The origin goes a little towards that place, so that it lies on no edge: as in boundaries.py. */
static int find_side(edge *edges, whole count, const double *known) {
    double dx = NUDGE * known[0], dy = NUDGE * known[1], x = known[0] - dx, y = known[1] - dy;
    int inside = known[2] > 0.0;
    if (x == 0.0 && y == 0.0) return inside;
    for (edge *e = edges; e < edges + count; e++) {
        e->x0 -= dx, e->y0 -= dy, e->x1 -= dx, e->y1 -= dy;
        double ax = e->x0 - x, ay = e->y0 - y, bx = e->x1 - x, by = e->y1 - y;
        int apart = (x * ay - y * ax > 0.0) != (x * by - y * bx > 0.0);
        inside ^= apart & ((ax * by - ay * bx > 0.0) != (e->x0 * e->y1 - e->y0 * e->x1 > 0.0));
    }
    return inside;
}

/* Probability that a disc lies inside each park, from the outlines; 0 where memory ran out. */
PUBLIC int integrate_contained(const outlines *o, whole n, const whole *park, const double *lons,
                               const double *lats, const double *frames, const double *known, double radius,
                               const double *sigma, whole rays, const double *ux, const double *uy,
                               double *probability) {
    scratch s = {0};
    int done = 1;
    for (whole k = 0; k < n && done; k++) {
        frame f = {frames[k], frames[n + k], frames[2 * n + k], frames[3 * n + k]};
        s.count = 0;
        done = keep_contained(&s, o, park[k], lons[k], lats[k], &f, radius + REACH * sigma[k]);
        int within = find_side(s.edges, s.count, &known[3 * k]);
        probability[k] = integrate_rays(&s, within, radius, sigma[k], rays, ux, uy);
    }
    free_scratch(&s);
    return done;
}

/* The same from the edges laid out near each pair. */
PUBLIC int integrate_nearby(const whole *first, const double *start, const double *end, whole n,
                            const whole *pair, const double *place, const double *stretch,
                            const double *known, double radius, const double *sigma, whole rays,
                            const double *ux, const double *uy, double *probability) {
    scratch s = {0};
    int done = 1;
    for (whole k = 0; k < n && done; k++) {
        whole p = pair[k];
        s.count = 0;
        done = keep_nearby(&s, start, end, first[p], first[p + 1], &place[2 * k], &stretch[2 * k],
                           radius + REACH * sigma[k]);
        int within = find_side(s.edges, s.count, &known[3 * k]);
        probability[k] = integrate_rays(&s, within, radius, sigma[k], rays, ux, uy);
    }
    free_scratch(&s);
    return done;
}

/* The probability that several conditions hold together: joint.py has the same in numpy. */
#define STEP 0.7  /* this and what follows as in joint.py, claims of cells as in verdict.py */
#define PARTS 2
#define BLOCK 5
#define TAPS 5
#define OFF 0.005
#define FINEST 0.05
#define SAME_VERTEX_M 0.1
#define TINY 1e-9
enum { NOTHING, ONE, MERIDIAN, PARALLEL, FOUR, NORTH_EAST, NORTH_WEST, SOUTH_WEST, SOUTH_EAST };

/* The station and its errors: points of unit sigma, the furthest of them, weights of the blur. */
typedef struct {
    double radius, sigma_fix, sharp;
    whole points;
    const double *east, *north;
    double furthest;
    const double *kernel;
} errors;

/* An edge from the station's centre, with its step and what is the same for all places. */
typedef struct {
    double x0, y0, x1, y1, dx, dy, per, turn;
} side;

/* A park near a station: its edges among those kept, whose error it shares, whether clearance alone tells how much
 * of the error keeps the disc in these parks, and whether the centre is inside. */
typedef struct {
    whole from, to, head;
    int plain, inside;
    double sigma, p;
} near_park;

/* Room for one claim: values at the points, and on the largest grid. */
typedef struct {
    double *held, *share, *grid, *rows;
    near_park *parks;
    side *sides, *close; /* of all edges, and of those that matter about a block of the grid */
    near_park *about;
    double *away;
    whole room;
    double sigma; /* for which the places of the points on the grid are known */
    whole *corner;
    double *weight;
} claim_room;

static double normal(double x) { return 0.5 * erfc(-x * 0.70710678118654752440); }

static double ramp(double room, double width) { return smaller(larger(room / width + 0.5, 0.0), 1.0); }

static double touch(const double *cell, double east, double north, double radius) {
    int code = (int)cell[0];
    double x = cell[1], y = cell[2];
    if (code == NOTHING) return 1.0;
    if (code == ONE)
        return (x < 0.0 ? -east : east) < radius + fabs(x) && (y < 0.0 ? -north : north) < radius + fabs(y);
    x += east, y += north;
    if (code == MERIDIAN) return fabs(x) < radius;
    if (code == PARALLEL) return fabs(y) < radius;
    if (x * x + y * y < radius * radius) return 1.0;
    if (code == NORTH_WEST || code == SOUTH_WEST) x = -x;
    if (code == SOUTH_WEST || code == SOUTH_EAST) y = -y;
    return code != FOUR && x > 0.0 && x < radius && y > 0.0 && y < radius;
}

static int is_same(double x0, double y0, double x1, double y1) {
    return (x0 - x1) * (x0 - x1) + (y0 - y1) * (y0 - y1) < SAME_VERTEX_M * SAME_VERTEX_M;
}

static int share_an_edge(const edge *edges, const near_park *one, const near_park *other) {
    for (whole a = one->from; a < one->to; a++) {
        const edge *p = &edges[a];
        double dx = p->x1 - p->x0, dy = p->y1 - p->y0;
        if (!(dx * dx + dy * dy > 4.0 * SAME_VERTEX_M * SAME_VERTEX_M)) continue;
        for (whole b = other->from; b < other->to; b++) {
            const edge *q = &edges[b];
            if (is_same(p->x0, p->y0, q->x0, q->y0) && is_same(p->x1, p->y1, q->x1, q->y1)) return 1;
            if (is_same(p->x0, p->y0, q->x1, q->y1) && is_same(p->x1, p->y1, q->x0, q->y0)) return 1;
        }
    }
    return 0;
}

static void find_groups(const edge *edges, near_park *parks, whole count) {
    for (whole k = 0; k < count; k++) {
        parks[k].head = k;
        for (whole j = 0; j < k; j++) {
            whole one = parks[j].head, other = parks[k].head;
            if (one == other || parks[k].sigma != parks[j].sigma) continue;
            if (!share_an_edge(edges, &parks[k], &parks[j])) continue;
            whole least = one < other ? one : other, most = one < other ? other : one;
            for (whole i = 0; i <= k; i++)
                if (parks[i].head == most) parks[i].head = least;
        }
    }
}

/* Signed distance from a place to the edges of a park, positive inside; infinite without edges. */
static double measure_one(const side *sides, const near_park *park, double x, double y) {
    double best = INFINITY;
    int odd = park->inside;
    for (const side *e = sides + park->from; e < sides + park->to; e++) {
        double ax = e->x0 - x, ay = e->y0 - y, bx = e->x1 - x, by = e->y1 - y;
        double along = -(ax * e->dx + ay * e->dy) * e->per;
        along = along < 0.0 ? 0.0 : along > 1.0 ? 1.0 : along;
        double fx = ax + along * e->dx, fy = ay + along * e->dy, squared = fx * fx + fy * fy;
        best = squared < best ? squared : best;
        int apart = (x * ay - y * ax > 0.0) != (x * by - y * bx > 0.0);
        odd ^= apart & ((ax * by - ay * bx > 0.0) != (e->turn > 0.0));
    }
    return odd ? sqrt(best) : -sqrt(best);
}

/* Parks that share a boundary error: the one at first, or all those up to last that have its head. */
typedef struct {
    const side *sides;
    const near_park *parks;
    whole first, last;
} bunch;

/* Signed distance to the nearest edge of any; where the boundary they share lies between two of them, no shift
 * of it helps. */
static double measure_all(const bunch *b, double x, double y) {
    double least = measure_one(b->sides, &b->parks[b->first], x, y), most = least;
    for (whole k = b->first + 1; k < b->last; k++) {
        if (b->parks[k].head != b->parks[b->first].head) continue;
        double clear = measure_one(b->sides, &b->parks[k], x, y);
        least = smaller(least, clear), most = larger(most, clear);
    }
    return least < 0.0 && most > 0.0 && fabs(least + most) < 2.0 * SAME_VERTEX_M ? -INFINITY : least;
}

/* The same parks seen from another place, with the edges alone that may be the nearest within a reach of it. */
static bunch look_from(const bunch *b, double x, double y, double reach, claim_room *d) {
    bunch near = {d->close, d->about, 0, 0};
    whole count = 0;
    for (whole k = b->first; k < b->last; k++) {
        const near_park *park = &b->parks[k];
        if (k > b->first && park->head != b->parks[b->first].head) continue;
        double best = INFINITY;
        int odd = park->inside;
        for (whole at = park->from; at < park->to; at++) {
            const side *e = &b->sides[at];
            double ax = e->x0 - x, ay = e->y0 - y, bx = e->x1 - x, by = e->y1 - y;
            double along = -(ax * e->dx + ay * e->dy) * e->per;
            along = along < 0.0 ? 0.0 : along > 1.0 ? 1.0 : along;
            double fx = ax + along * e->dx, fy = ay + along * e->dy, squared = fx * fx + fy * fy;
            d->away[at] = squared;
            best = squared < best ? squared : best;
            int apart = (x * ay - y * ax > 0.0) != (x * by - y * bx > 0.0);
            odd ^= apart & ((ax * by - ay * bx > 0.0) != (e->turn > 0.0));
        }
        near_park *one = &d->about[near.last++];
        *one = (near_park){count, 0, 0, 0, odd, park->sigma, park->p};
        double most = sqrt(best) + 2.0 * reach;
        for (whole at = park->from; at < park->to; at++) {
            if (d->away[at] > most * most) continue;
            side e = b->sides[at];
            e.x0 -= x, e.y0 -= y, e.x1 -= x, e.y1 -= y;
            e.turn = e.x0 * e.y1 - e.y0 * e.x1;
            d->close[count++] = e;
        }
        one->to = count;
    }
    return near;
}

/* Share of a square of the grid, its centre at (x, y), whence the disc is inside. */
static double average_square(const bunch *b, double x, double y, double step, double radius) {
    double room = measure_all(b, x, y) - radius, total = 0.0;
    if (!(fabs(room) < step)) return room > 0.0;
    for (int q = 0; q < PARTS; q++)
        for (int p = 0; p < PARTS; p++) {
            double east = (((double)p + 0.5) / PARTS - 0.5) * step;
            double north = (((double)q + 0.5) / PARTS - 0.5) * step;
            total += ramp(measure_all(b, x + east, y + north) - radius, step / PARTS);
        }
    return total / (PARTS * PARTS);
}

/* The same of all squares, row after row from the south-west, a block of them at a time. */
static void average(const bunch *b, const errors *e, double step, whole outer, claim_room *d) {
    double sigma = b->parks[b->first].sigma, half = 0.5 * BLOCK * 1.4142135623730951 * step;
    double far = REACH * REACH * (sigma * sigma + e->sigma_fix * e->sigma_fix);
    whole wide = 2 * outer + 1;
    for (whole k = 0; k < wide * wide; k++) d->grid[k] = 0.0;
    for (whole south = -outer; south <= outer; south += BLOCK)
        for (whole west = -outer; west <= outer; west += BLOCK) {
            double x = ((double)west + 0.5 * (BLOCK - 1)) * step, y = ((double)south + 0.5 * (BLOCK - 1)) * step;
            if (length(x, y) > sqrt(far) + half) continue;
            bunch near = look_from(b, x, y, half, d);
            /* A step changes clearance by a step at most: of blocks far from the boundary one square is all. */
            double room = measure_all(&near, 0.0, 0.0) - e->radius;
            int plain = isfinite(room) && fabs(room) > 1.000001 * (half + step);
            for (whole j = south; j < south + BLOCK && j <= outer; j++)
                for (whole i = west; i < west + BLOCK && i <= outer; i++) {
                    double east = (double)i * step, north = (double)j * step;
                    if (!(east * east + north * north <= far)) continue;
                    d->grid[(j + outer) * wide + i + outer] =
                        plain ? room > 0.0 : average_square(&near, east - x, north - y, step, e->radius);
                }
        }
}

static void weigh_cubic(double t, double *w) {
    w[0] = -t * (t - 1.0) * (t - 2.0) / 6.0;
    w[1] = (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0;
    w[2] = -(t + 1.0) * t * (t - 2.0) / 2.0;
    w[3] = (t + 1.0) * t * (t - 1.0) / 6.0;
}

/* Where the points lie on the grid, and the weights of the values about them. */
static void place_points(const errors *e, double step, whole inner, double sigma, claim_room *d) {
    if (d->sigma == sigma) return;
    d->sigma = sigma;
    for (whole k = 0; k < e->points; k++) {
        double x = e->sigma_fix * e->east[k] / step + (double)inner;
        double y = e->sigma_fix * e->north[k] / step + (double)inner;
        whole i = (whole)x, j = (whole)y;
        d->corner[k] = (j - 1) * (2 * inner + 1) + i - 1;
        weigh_cubic(x - (double)i, &d->weight[8 * k]);
        weigh_cubic(y - (double)j, &d->weight[8 * k + 4]);
    }
}

/* Weighted sums of values a stride apart: value by value in the inner loop, which compilers lay side by side. */
static void blur(double *restrict to, const double *restrict from, whole stride, whole count,
                 const double *restrict kernel) {
    for (whole i = 0; i < count; i++) to[i] = 0.0;
    for (whole k = 0; k <= 2 * TAPS; k++)
        for (whole i = 0; i < count; i++) to[i] += kernel[k] * from[i + k * stride];
}

/* Share of a boundary error at which the disc is inside, at each point of the receiver's error. */
static void find_shares(const bunch *b, const errors *e, claim_room *d) {
    double sigma = b->parks[b->first].sigma;
    if (b->parks[b->first].plain) {
        for (whole k = 0; k < e->points; k++) {
            double clear = measure_all(b, e->sigma_fix * e->east[k], e->sigma_fix * e->north[k]);
            double x = (clear - e->radius) / larger(sigma, TINY);
            d->share[k] = x > 9.0 ? 1.0 : x < -9.0 ? 0.0 : normal(x);
        }
        return;
    }
    double step = STEP * sigma;
    whole inner = (whole)(e->furthest * e->sigma_fix / step) + 2, wide = 2 * (inner + TAPS) + 1;
    whole left = wide - 2 * TAPS;
    average(b, e, step, inner + TAPS, d);
    for (whole j = 0; j < wide; j++) blur(d->rows + j * left, d->grid + j * wide, 1, left, e->kernel);
    for (whole j = 0; j < left; j++) blur(d->grid + j * left, d->rows + j * left, left, left, e->kernel);
    place_points(e, step, inner, sigma, d);
    for (whole k = 0; k < e->points; k++) {
        const double *east = &d->weight[8 * k], *north = east + 4;
        double sum = 0.0;
        for (int r = 0; r < 4; r++) {
            const double *row = &d->grid[d->corner[k] + r * left];
            sum += north[r] * (east[0] * row[0] + east[1] * row[1] + east[2] * row[2] + east[3] * row[3]);
        }
        d->share[k] = smaller(larger(sum, 0.0), 1.0);
    }
}

static double mean(const double *values, whole count) {
    double sum = 0.0;
    for (whole k = 0; k < count; k++) sum += values[k];
    return sum / (double)count;
}

static double divide(double known, double own) { return own > TINY ? known / own : 0.0; }

static int has_one_edge_each(const near_park *parks, whole head, whole count) {
    for (whole k = head; k < count; k++)
        if (parks[k].head == head && parks[k].to > parks[k].from + 1) return 0;
    return 1;
}

/* The shares of each of the parks that share an error: by how much the least sure one is better known, how many
 * they are, and how far the furthest is off what is known. */
static double find_members(claim_room *d, whole head, whole parks, int plain, const errors *e, double *better,
                           whole *members) {
    double least = INFINITY, off = 0.0;
    *members = 0;
    for (whole k = head; k < parks; k++) {
        if (d->parks[k].head != head) continue;
        d->parks[k].plain = plain;
        find_shares(&(bunch){d->sides, d->parks, k, k + 1}, e, d);
        double own = mean(d->share, e->points);
        if (own < least) least = own, *better = divide(d->parks[k].p, own);
        off = larger(off, fabs(own - d->parks[k].p));
        ++*members;
    }
    return off;
}

static double join_laid(const edge *edges, claim_room *d, whole parks, const double *cell, double cell_p,
                              const errors *e) {
    find_groups(edges, d->parks, parks);
    for (whole k = 0; k < d->parks[parks - 1].to; k++) {
        const edge *p = &edges[k];
        double dx = p->x1 - p->x0, dy = p->y1 - p->y0;
        double per = 1.0 / larger(dx * dx + dy * dy, 1e-12), turn = p->x0 * p->y1 - p->y0 * p->x1;
        d->sides[k] = (side){p->x0, p->y0, p->x1, p->y1, dx, dy, per, turn};
    }
    for (whole k = 0; k < e->points; k++)
        d->held[k] = touch(cell, e->sigma_fix * e->east[k], e->sigma_fix * e->north[k], e->radius);
    double scale = divide(cell_p, mean(d->held, e->points));
    for (whole head = 0; head < parks; head++) {
        if (d->parks[head].head != head) continue;
        double better = 1.0, sigma = d->parks[head].sigma;
        int straight = has_one_edge_each(d->parks, head, parks) || sigma <= TINY;
        int plain = straight || sigma < e->sharp * e->sigma_fix;
        whole members = 0;
        /* Where that is off for one of them, and a grid not too fine, they are done again. */
        if (find_members(d, head, parks, plain, e, &better, &members) > OFF && plain && !straight &&
            sigma >= FINEST * e->sigma_fix)
            find_members(d, head, parks, 0, e, &better, &members);
        scale *= better;
        if (members > 1) find_shares(&(bunch){d->sides, d->parks, head, parks}, e, d);
        for (whole k = 0; k < e->points; k++) d->held[k] *= d->share[k];
    }
    return mean(d->held, e->points) * scale;
}

/* The same, with room made for the edges; negative where memory ran out. */
static double join_conditions(const scratch *s, claim_room *d, whole parks, const double *cell, double cell_p,
                              const errors *e) {
    if (s->count > d->room) {
        side *sides = realloc(d->sides, (size_t)s->room * sizeof(side));
        if (sides) d->sides = sides;
        side *close = realloc(d->close, (size_t)s->room * sizeof(side));
        if (close) d->close = close;
        double *away = realloc(d->away, (size_t)s->room * sizeof(double));
        if (away) d->away = away;
        if (!sides || !close || !away) return -1.0;
        d->room = s->room;
    }
    return join_laid(s->edges, d, parks, cell, cell_p, e);
}

static int make_claim_room(claim_room *d, const errors *e, whole claims, const whole *first) {
    whole wide = 2 * ((whole)(e->furthest / (STEP * FINEST)) + 2 + TAPS) + 1, most = 1;
    for (whole k = 0; k < claims; k++) most = first[k + 1] - first[k] > most ? first[k + 1] - first[k] : most;
    d->held = malloc((size_t)(2 * e->points + 2 * wide * wide) * sizeof(double));
    d->parks = malloc((size_t)most * sizeof(near_park));
    d->about = malloc((size_t)most * sizeof(near_park));
    d->corner = malloc((size_t)e->points * sizeof(whole));
    d->weight = malloc((size_t)(8 * e->points) * sizeof(double));
    d->sigma = -1.0;
    if (!d->held || !d->parks || !d->about || !d->corner || !d->weight) return 0;
    d->share = d->held + e->points, d->grid = d->share + e->points, d->rows = d->grid + wide * wide;
    return 1;
}

static void free_claim_room(claim_room *d) {
    free(d->held);
    free(d->parks);
    free(d->corner);
    free(d->weight);
    free(d->about);
    free(d->sides);
    free(d->close);
    free(d->away);
}

static errors make_errors(double radius, double sigma_fix, double sharp, whole points, const double *east,
                          const double *north, double furthest, const double *kernel) {
    return (errors){radius, sigma_fix, sharp, points, east, north, furthest, kernel};
}

/* The probability that the conditions of each claim hold together. Pairs of a claim and a park come end to end;
 * a claim's begin at claim[k]. */
PUBLIC int join_contained(const outlines *o, whole claims, const whole *claim, const double *cell, whole n,
                          const whole *park, const double *lons, const double *lats, const double *frames,
                          const double *known, const double *pair_p, const double *claim_p,
                          const double *sigma, double radius, double sigma_fix, double sharp, whole points,
                          const double *east, const double *north, double furthest, const double *kernel,
                          double *joint) {
    errors e = make_errors(radius, sigma_fix, sharp, points, east, north, furthest, kernel);
    scratch s = {0};
    claim_room d = {0};
    int done = make_claim_room(&d, &e, claims, claim);
    for (whole c = 0; c < claims && done; c++) {
        s.count = 0;
        for (whole k = claim[c]; k < claim[c + 1] && done; k++) {
            frame f = {frames[k], frames[n + k], frames[2 * n + k], frames[3 * n + k]};
            near_park *one = &d.parks[k - claim[c]];
            *one = (near_park){s.count, 0, 0, 0, 0, sigma[k], pair_p[k]};
            done = keep_contained(&s, o, park[k], lons[k], lats[k], &f,
                                  radius + REACH * length(sigma_fix, sigma[k]));
            one->to = s.count;
            one->inside = find_side(&s.edges[one->from], one->to - one->from, &known[3 * k]);
        }
        if (!done) break;
        joint[c] = join_conditions(&s, &d, claim[c + 1] - claim[c], &cell[3 * c], claim_p[c], &e);
        done = joint[c] >= 0.0;
    }
    free_scratch(&s);
    free_claim_room(&d);
    return done;
}

/* The same from the edges laid out near each pair. */
PUBLIC int join_nearby(const whole *first, const double *start, const double *end, whole claims,
                       const whole *claim, const double *cell, const whole *pair, const double *place,
                       const double *stretch, const double *known, const double *pair_p,
                       const double *claim_p, const double *sigma, double radius, double sigma_fix,
                       double sharp, whole points, const double *east, const double *north, double furthest,
                       const double *kernel, double *joint) {
    errors e = make_errors(radius, sigma_fix, sharp, points, east, north, furthest, kernel);
    scratch s = {0};
    claim_room d = {0};
    int done = make_claim_room(&d, &e, claims, claim);
    for (whole c = 0; c < claims && done; c++) {
        s.count = 0;
        for (whole k = claim[c]; k < claim[c + 1] && done; k++) {
            whole p = pair[k];
            near_park *one = &d.parks[k - claim[c]];
            *one = (near_park){s.count, 0, 0, 0, 0, sigma[k], pair_p[k]};
            done = keep_nearby(&s, start, end, first[p], first[p + 1], &place[2 * k], &stretch[2 * k],
                               radius + REACH * length(sigma_fix, sigma[k]));
            one->to = s.count;
            one->inside = find_side(&s.edges[one->from], one->to - one->from, &known[3 * k]);
        }
        if (!done) break;
        joint[c] = join_conditions(&s, &d, claim[c + 1] - claim[c], &cell[3 * c], claim_p[c], &e);
        done = joint[c] >= 0.0;
    }
    free_scratch(&s);
    free_claim_room(&d);
    return done;
}

/* The largest circle in a polygon: squares are quartered where one may hold a better centre than the best so
 * far by more than a tolerance, the most promising first. Distances, squares and their order are those of GEOS,
 * so that both find the same centre; here no index has to be built for a few edges.
 */
#define A_RUN 8             /* edges measured together; the last run of a ring repeats its last edge */
#define CLOSE (1.0 + 1e-9)  /* an edge within that of the nearest is measured as GEOS does */
#define STRAY 1e-14         /* of a polygon's size: how far the quick measure may be out */
#define MOST_SQUARES 12000  /* of one polygon: beyond that it is left to GEOS, which has a bound not far off */
#define DIAGONAL 1.4142135623730951

typedef struct {
    double x0[A_RUN], y0[A_RUN], x1[A_RUN], y1[A_RUN], dx[A_RUN], dy[A_RUN], size[A_RUN], per_size[A_RUN];
    double west, south, east, north;
    whole count;
} ring_run;

typedef struct {
    double x, y, half, away, most; /* away: signed distance from the centre; most: of any centre in the square */
} square;

typedef struct {
    ring_run *runs;
    square *heap;
    whole run_room, heap_room, run_count, heap_count;
    double west, south, east, north, stray;
} polygon_room;

static void free_polygon_room(polygon_room *p) {
    free(p->runs);
    free(p->heap);
}

/* Make room for so many things of a size; 0 where there is none. */
static int make_room(void **held, whole *room, whole wanted, size_t size) {
    if (wanted <= *room) return 1;
    whole larger = wanted + wanted / 2;
    void *moved = realloc(*held, (size_t)larger * size);
    if (!moved) return 0;
    *held = moved;
    *room = larger;
    return 1;
}

/* Lay out the rings of a polygon; each repeats its first vertex. */
static int lay_out_rings(polygon_room *p, const double *xy, const whole *vertex, whole rings) {
    whole most = (vertex[rings] - vertex[0]) / A_RUN + rings;
    if (!make_room((void **)&p->runs, &p->run_room, most, sizeof(ring_run))) return 0;
    p->run_count = 0;
    p->west = p->south = INFINITY, p->east = p->north = -INFINITY;
    for (whole ring = 0; ring < rings; ring++) {
        whole last = vertex[ring + 1] - 1;
        for (whole v = vertex[ring]; v < last; v += A_RUN) {
            ring_run *run = &p->runs[p->run_count++];
            run->west = run->east = xy[2 * v], run->south = run->north = xy[2 * v + 1];
            run->count = last - v < A_RUN ? last - v : A_RUN;
            for (whole k = 0; k < A_RUN; k++) {
                whole e = v + (k < run->count ? k : run->count - 1);
                const double *a = &xy[2 * e], *b = &xy[2 * e + 2];
                double dx = b[0] - a[0], dy = b[1] - a[1], size = dx * dx + dy * dy;
                run->x0[k] = a[0], run->y0[k] = a[1], run->x1[k] = b[0], run->y1[k] = b[1];
                run->dx[k] = dx, run->dy[k] = dy, run->size[k] = size, run->per_size[k] = size > 0.0 ? 1.0 / size : 0.0;
                run->west = smaller(run->west, b[0]), run->east = larger(run->east, b[0]);
                run->south = smaller(run->south, b[1]), run->north = larger(run->north, b[1]);
            }
            p->west = smaller(p->west, run->west), p->east = larger(p->east, run->east);
            p->south = smaller(p->south, run->south), p->north = larger(p->north, run->north);
        }
    }
    p->stray = STRAY * larger(p->east - p->west, p->north - p->south);
    return 1;
}

/* The square of how near edges of a run come, quickly: all at once, without a branch. */
static void measure_quickly(const ring_run *run, double x, double y, double *squared) {
    for (int k = 0; k < A_RUN; k++) {
        double ax = x - run->x0[k], ay = y - run->y0[k];
        double along = (ax * run->dx[k] + ay * run->dy[k]) * run->per_size[k];
        along = along < 0.0 ? 0.0 : along;
        along = along > 1.0 ? 1.0 : along;
        ax -= along * run->dx[k], ay -= along * run->dy[k];
        squared[k] = ax * ax + ay * ay;
    }
}

/* The distance to one edge of a run as GEOS has it. */
static double measure_edge(const ring_run *run, int k, double x, double y) {
    double ax = x - run->x0[k], ay = y - run->y0[k], bx = x - run->x1[k], by = y - run->y1[k];
    double along = ax * run->dx[k] + ay * run->dy[k];
    if (along <= 0.0 || run->size[k] == 0.0) return sqrt(ax * ax + ay * ay);
    if (along >= run->size[k]) return sqrt(bx * bx + by * by);
    double cross = (run->y0[k] - y) * run->dx[k] - (run->x0[k] - x) * run->dy[k];
    return fabs(cross / run->size[k]) * sqrt(run->size[k]);
}

static double square_reach(const polygon_room *p, double away) {
    double reach = away * CLOSE + p->stray;
    return reach * reach;
}

/* Distance to the nearest edge, which is no further than a limit; negative outside. */
static double measure_room(const polygon_room *p, double x, double y, double limit) {
    double reach = square_reach(p, limit), best = INFINITY;
    int odd = 0;
    for (whole r = 0; r < p->run_count; r++) {
        const ring_run *run = &p->runs[r];
        int spans = run->south <= y && y < run->north && run->east >= x;
        if (spans && run->west > x) {
            odd ^= (run->y0[0] > y) != (run->y1[run->count - 1] > y);
            spans = 0;
        }
        double east = larger(0.0, larger(run->west - x, x - run->east));
        double north = larger(0.0, larger(run->south - y, y - run->north));
        if (east * east + north * north <= reach) {
            double squared[A_RUN];
            measure_quickly(run, x, y, squared);
            for (int k = 0; k < A_RUN; k++) {
                if (squared[k] > reach) continue;
                double away = measure_edge(run, k, x, y);
                if (away >= best) continue;
                best = away;
                reach = smaller(reach, square_reach(p, away));
            }
        }
        if (!spans) continue;
        for (int k = 0; k < run->count; k++) {
            if ((run->y0[k] > y) == (run->y1[k] > y)) continue;
            double turn = (run->x0[k] - x) * (run->y1[k] - y) - (run->y0[k] - y) * (run->x1[k] - x);
            odd ^= (turn > 0.0) == (run->y1[k] > run->y0[k]);
        }
    }
    return odd ? best : -best;
}

static int push_square(polygon_room *p, double x, double y, double half, double limit) {
    if (!make_room((void **)&p->heap, &p->heap_room, p->heap_count + 1, sizeof(square))) return 0;
    double away = measure_room(p, x, y, limit);
    square new = {x, y, half, away, away + half * DIAGONAL};
    whole at = p->heap_count++;
    for (; at > 0 && p->heap[(at - 1) / 2].most < new.most; at = (at - 1) / 2) p->heap[at] = p->heap[(at - 1) / 2];
    p->heap[at] = new;
    return 1;
}

/* Take the most promising square: the gap goes down to a leaf, and what was last comes up from there. */
static square pop_square(polygon_room *p) {
    square top = p->heap[0], last = p->heap[--p->heap_count];
    whole at = 0, count = p->heap_count;
    for (whole child = 1; child < count; child = 2 * at + 1) {
        if (child + 1 < count && p->heap[child + 1].most >= p->heap[child].most) child++;
        p->heap[at] = p->heap[child];
        at = child;
    }
    for (; at > 0 && p->heap[(at - 1) / 2].most < last.most; at = (at - 1) / 2) p->heap[at] = p->heap[(at - 1) / 2];
    p->heap[at] = last;
    return top;
}

/* Of squares none of which is to be quartered, the best centre; -1 for none, and -2 where two are as good. */
static whole find_best_square(const polygon_room *p, double best) {
    whole found = -1;
    for (whole k = 0; k < p->heap_count; k++) {
        if (p->heap[k].away < best || (p->heap[k].away == best && found == -1)) continue;
        found = p->heap[k].away > best ? k : -2;
        best = p->heap[k].away;
    }
    return found;
}

/* Of each polygon the centre of its largest circle, from a place inside; or that it took too long. */
PUBLIC int find_circle_centres(whole n, const whole *ring, const whole *vertex, const double *xy,
                               const double *inside, const double *tolerance, double *centre, uint8_t *found) {
    polygon_room p = {0};
    int done = 1;
    for (whole k = 0; k < n && done; k++) {
        if (!(done = lay_out_rings(&p, xy, &vertex[ring[k]], ring[k + 1] - ring[k]))) break;
        double x = inside[2 * k], y = inside[2 * k + 1], best = measure_room(&p, x, y, INFINITY);
        double half = larger(p.east - p.west, p.north - p.south) / 2.0;
        whole squares = 0;
        p.heap_count = 0;
        done = push_square(&p, (p.west + p.east) / 2.0, (p.south + p.north) / 2.0, half, INFINITY);
        while (done && p.heap_count && squares++ < MOST_SQUARES) {
            square one = pop_square(&p);
            if (one.away > best) best = one.away, x = one.x, y = one.y;
            if (!(one.most - best > tolerance[k])) {
                whole last = find_best_square(&p, best);
                if (last == -2) continue;
                if (last >= 0) x = p.heap[last].x, y = p.heap[last].y;
                p.heap_count = 0;
                break;
            }
            double quarter = one.half / 2.0, limit = (fabs(one.away) + quarter * DIAGONAL) * CLOSE;
            done = push_square(&p, one.x - quarter, one.y - quarter, quarter, limit) &&
                   push_square(&p, one.x + quarter, one.y - quarter, quarter, limit) &&
                   push_square(&p, one.x - quarter, one.y + quarter, quarter, limit) &&
                   push_square(&p, one.x + quarter, one.y + quarter, quarter, limit);
        }
        centre[2 * k] = x, centre[2 * k + 1] = y;
        found[k] = p.heap_count == 0;
    }
    free_polygon_room(&p);
    return done;
}

/* Points of a graph: the least minutes known, the point before, and the start once that is settled. */
typedef struct {
    double minutes;
    int32_t before, begin;
} reached;

enum { NONE = -1 };

/* Points that wait for their turn. Time is cut into slices: those of the present slice and before stand in a heap,
 * those of the next slices in a list each, and those still later in one list more. */
typedef struct {
    double minutes;
    int32_t point;
} turn;

typedef struct {
    turn *turn;
    whole count, room;
} turns;

typedef struct {
    turns heap, later, slice[4096];
    whole now, in_slices; /* the present slice, and how many wait in others */
    int failed;
} queue;

enum { SLICES = sizeof(((queue *)0)->slice) / sizeof(turns), SONS = 4 };
#define SLICES_A_MINUTE 200.0 /* so few in one that what belongs to them stays in the cache */

static int make_room_for_turn(turns *t) {
    return make_room((void **)&t->turn, &t->room, t->count + 1, sizeof(turn));
}

static void add_to_heap(turns *h, turn one) {
    whole at = h->count++;
    while (at > 0) {
        whole father = (at - 1) / SONS;
        if (!(one.minutes < h->turn[father].minutes)) break;
        h->turn[at] = h->turn[father];
        at = father;
    }
    h->turn[at] = one;
}

static turn take_first(turns *h) {
    turn first = h->turn[0], last = h->turn[--h->count];
    whole at = 0;
    for (;;) {
        whole son = SONS * at + 1, best = son, end = son + SONS < h->count ? son + SONS : h->count;
        for (whole k = son + 1; k < end; k++)
            if (h->turn[k].minutes < h->turn[best].minutes) best = k;
        if (son >= h->count || !(h->turn[best].minutes < last.minutes)) break;
        h->turn[at] = h->turn[best];
        at = best;
    }
    h->turn[at] = last;
    return first;
}

static void wait_for_turn(queue *q, turn one) {
    whole slice = (whole)(one.minutes * SLICES_A_MINUTE), ahead = slice - q->now;
    turns *list = ahead <= 0 ? &q->heap : ahead < SLICES ? &q->slice[slice % SLICES] : &q->later;
    if (!make_room_for_turn(list)) {
        q->failed = 1;
    } else if (list == &q->heap) {
        add_to_heap(list, one);
    } else {
        list->turn[list->count++] = one;
        q->in_slices += list != &q->later;
    }
}

/* Go on to the slice after the present one, or to the first in which one waits if that is far off. */
static void open_next_slice(queue *q) {
    q->now++;
    if (q->in_slices == 0) {
        double least = q->later.turn[0].minutes;
        for (whole k = 1; k < q->later.count; k++) least = smaller(least, q->later.turn[k].minutes);
        q->now = (whole)(least * SLICES_A_MINUTE);
    }
    if (q->in_slices == 0 || q->now % (SLICES / 2) == 0) {
        whole waiting = q->later.count;
        q->later.count = 0;
        for (whole k = 0; k < waiting; k++) wait_for_turn(q, q->later.turn[k]);
    }
}

static void free_queue(queue *q) {
    for (whole k = 0; k < SLICES; k++) free(q->slice[k].turn);
    free(q->heap.turn);
    free(q->later.turn);
    free(q);
}

/* A grid, from each point of which 16 steps lead, and links from points of the grid and from all others. */
enum { STEPS = 16 };
typedef struct {
    whole points; /* of the grid, which come first */
    const int32_t *shift; /* of each step: number of the point it leads to, less that of where it begins */
    const float *step; /* minutes: points rows of 16 */
    const int32_t *first, *head; /* links by where they begin, and where they lead */
    const double *minutes;
} walkways;

#ifdef __GNUC__
#define FETCH(place) __builtin_prefetch(place)
#else
#define FETCH(place) ((void)(place))
#endif

/* Move the points of the present slice to the heap; what is looked at when they are settled is asked for ahead. */
static void wake_slice(queue *q, const walkways *w, const reached *r) {
    turns *list = &q->slice[q->now % SLICES];
    whole rows = w->shift[STEPS - 1], row = rows / 2;
    for (whole k = 0; k < list->count; k++) {
        turn one = list->turn[k];
        const reached *at = r + one.point;
        if (at->begin != NONE || at->minutes < one.minutes) continue;
        if (one.point < w->points) FETCH(w->step + STEPS * (whole)one.point);
        if (one.point > rows && one.point < w->points - rows)
            FETCH(at - 2 * row), FETCH(at - row), FETCH(at + row), FETCH(at + 2 * row);
        if (!make_room_for_turn(&q->heap)) {
            q->failed = 1;
            return;
        }
        add_to_heap(&q->heap, one);
    }
    q->in_slices -= list->count;
    list->count = 0;
}

/* A way to a point that takes no longer than what is known: of those as quick the one from the least number counts. */
static inline void reach(queue *q, reached *r, int32_t here, int32_t next, double taken) {
    reached *to = r + next;
    if (taken < to->minutes) {
        to->minutes = taken, to->before = here;
        wait_for_turn(q, (turn){taken, next});
    } else if (to->begin == NONE && here < to->before) {
        to->before = here;
    }
}

static void settle(queue *q, const walkways *w, reached *r, int32_t here, double limit) {
    reached *at = r + here;
    at->begin = at->before == NONE ? here : r[at->before].begin;
    if (here < w->points) {
        const float *step = w->step + STEPS * (whole)here;
        double taken[STEPS];
        int way[STEPS + 1], ways = 0;
        for (int k = 0; k < STEPS; k++) taken[k] = at->minutes + (double)step[k];
        if (here >= -w->shift[0] && here < w->points - w->shift[STEPS - 1]) {
            for (int k = 0; k < STEPS; k++) { /* no branch: which of them are quick is not to be foretold */
                way[ways] = k;
                ways += (taken[k] <= at[w->shift[k]].minutes) & (taken[k] <= limit);
            }
        } else {
            for (int k = 0; k < STEPS; k++) /* no step that is not endless leads off the grid */
                if (taken[k] <= limit && taken[k] <= at[w->shift[k]].minutes) way[ways++] = k;
        }
        for (int k = 0; k < ways; k++) reach(q, r, here, here + w->shift[way[k]], taken[way[k]]);
    }
    for (int32_t k = w->first[here]; k < w->first[here + 1]; k++) {
        double taken = at->minutes + w->minutes[k];
        if (taken <= limit && taken <= r[w->head[k]].minutes) reach(q, r, here, w->head[k], taken);
    }
}

/* Least times from the nearest of some sources along edges of no negative time, until all targets are reached: of
 * those as quick the point before of the least number counts. Of points that are not settled by then, whose begin is
 * negative, nothing is told that holds. */
PUBLIC int find_least_times(whole points, const int32_t *shift, const float *step, whole n, const int32_t *first,
                            const int32_t *head, const double *minutes, whole sources, const whole *source,
                            whole targets, const whole *target, double limit, reached *r) {
    walkways w = {points, shift, step, first, head, minutes};
    queue *q = calloc(1, sizeof(queue));
    uint8_t *is_target = calloc((size_t)n + 1, 1);
    int done = q && is_target;
    if (done) {
        whole left = 0;
        for (whole k = 0; k < n; k++) r[k] = (reached){INFINITY, NONE, NONE};
        for (whole k = 0; k < targets; k++) left += !is_target[target[k]], is_target[target[k]] = 1;
        for (whole k = 0; k < sources; k++) {
            if (r[source[k]].minutes == 0.0) continue;
            r[source[k]].minutes = 0.0;
            wait_for_turn(q, (turn){0.0, (int32_t)source[k]});
        }
        while (left > 0 && !q->failed) {
            if (q->heap.count == 0) {
                if (q->in_slices + q->later.count == 0) break;
                open_next_slice(q);
                wake_slice(q, &w, r);
                continue;
            }
            int32_t here = take_first(&q->heap).point;
            if (r[here].begin != NONE) continue;
            settle(q, &w, r, here, limit);
            left -= is_target[here];
        }
        done = !q->failed;
    }
    free(is_target);
    if (q) free_queue(q);
    return done;
}

/* Heights between the middles of the cells of a raster, NaN outside and where a cell that counts has none. */
PUBLIC void read_cells(const float *cells, whole high, whole wide, whole n, const double *col, const double *row,
                       double *height) {
    double last_col = (double)(wide - 1), last_row = (double)(high - 1);
    whole most_left = wide > 1 ? wide - 2 : 0, most_top = high > 1 ? high - 2 : 0;
    whole right = wide > 1, below = high > 1 ? wide : 0;
    for (whole k = 0; k < n; k++) {
        if (!(col[k] >= -0.5 && row[k] >= -0.5 && col[k] <= last_col + 0.5 && row[k] <= last_row + 0.5)) {
            height[k] = NAN;
            continue;
        }
        double x = smaller(larger(col[k], 0.0), last_col), y = smaller(larger(row[k], 0.0), last_row);
        whole left = (whole)x, top = (whole)y;
        if (left > most_left) left = most_left;
        if (top > most_top) top = most_top;
        double u = x - (double)left, v = y - (double)top;
        const float *at = cells + top * wide + left;
        double corner[4] = {at[0], at[right], at[below], at[below + right]};
        double share[4] = {(1.0 - u) * (1.0 - v), u * (1.0 - v), (1.0 - u) * v, u * v};
        double sum = share[0] * corner[0] + share[1] * corner[1] + share[2] * corner[2] + share[3] * corner[3];
        if (isnan(sum)) { /* a cell without height does no harm to a place that does not need it */
            sum = 0.0;
            for (int c = 0; c < 4; c++) sum += share[c] > 1e-9 ? share[c] * corner[c] : 0.0;
        }
        height[k] = sum;
    }
}
