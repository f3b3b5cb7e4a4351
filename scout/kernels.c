/* The inner loops over edges, compiled where a compiler is at hand; kernels.py calls them.
 *
 * Each function does what a numpy function of boundaries.py, probability.py or optimize.py does, operation by
 * operation (so no fused arithmetic may be allowed), and tests compare the two. Angles, exponents of frames
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
#define REACH 4.5          /* sigmas, as in probability.py */

typedef int64_t whole;

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
    double scale = fmin(f->x1, SPHERE_M * shrink);
    double dx = scale * fmax(0.0, fmax(west - lon, lon - east));
    double dy = f->y1 * fmax(0.0, fmax(south - lat, lat - north));
    return SLACK * hypot(dx, dy);
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
    double along = -(x0 * dx + y0 * dy) / fmax(dx * dx + dy * dy, 1e-12);
    along = fmin(fmax(along, 0.0), 1.0);
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
                reach = fmin(reach, hypot(x, y));
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
                reach = fmin(reach, sqrt(best) * (1.0 + 1e-9));
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
                    if (!(fmin(a, b) <= east && fmax(a, b) >= west)) continue;
                    a = o->lat[e], b = o->lat[e + 1];
                    if (!(fmin(a, b) <= north && fmax(a, b) >= south)) continue;
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
            best = fmin(best, squared);
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
    *first = fmin(t0, t1);
    *last = fmax(t0, t1);
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
        enter = fmin(enter, along1 - half), leave = fmax(leave, along1 + half);
    }
    double dx = e->x1 - e->x0, dy = e->y1 - e->y0, size = hypot(dx, dy);
    if (size > 0.0) {
        double low, high, low2, high2;
        clip_slab((ux * dy - uy * dx) / size, -((e->x0 * dy - e->y0 * dx) / size), -radius, radius, &low, &high);
        clip_slab((ux * dx + uy * dy) / size, -(e->x0 * dx + e->y0 * dy) / size, 0.0, size, &low2, &high2);
        low = fmax(low, low2), high = fmin(high, high2);
        if (low < high) enter = fmin(enter, low), leave = fmax(leave, high);
    }
    if (!(enter < leave && leave > 0.0)) return 0;
    int crosses = (across0 > 0.0) != (across1 > 0.0) &&
                  along0 + across0 / (across0 - across1) * (along1 - along0) > 0.0;
    *found = (stop){fmax(enter, 0.0), leave, crosses};
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
            furthest = k ? fmax(furthest, one->to) : one->to;
        }
        if (free_here) mass += stops ? tail(furthest, sigma) : 1.0;
        whole_mass += mass;
    }
    return fmin(fmax(whole_mass / (double)rays, 0.0), 1.0);
}

/* Probability that a disc lies inside each park, from the outlines; 0 where memory ran out. */
PUBLIC int integrate_contained(const outlines *o, whole n, const whole *park, const double *lons,
                               const double *lats, const double *frames, const uint8_t *inside, double radius,
                               const double *sigma, whole rays, const double *ux, const double *uy,
                               double *probability) {
    scratch s = {0};
    int done = 1;
    for (whole k = 0; k < n && done; k++) {
        double lon = lons[k], lat = lats[k], reach = radius + REACH * sigma[k];
        frame f = {frames[k], frames[n + k], frames[2 * n + k], frames[3 * n + k]};
        s.count = 0;
        for (whole group = o->park_group[park[k]]; group < o->park_group[park[k] + 1] && done; group++) {
            if (distance_to_group(o, group, lon, lat, &f) > reach) continue;
            for (whole run = o->group_run[group]; run < o->group_run[group + 1] && done; run++) {
                if (!o->count[run] || distance_to_run(o, run, lon, lat, &f) > reach) continue;
                double x0, y0, x1, y1, squared;
                whole v = o->first[run];
                project(o, v, lon, lat, &f, &x0, &y0);
                for (whole e = v; e < v + o->count[run] && done; e++, x0 = x1, y0 = y1) {
                    project(o, e + 1, lon, lat, &f, &x1, &y1);
                    nearest_share(x0, y0, x1 - x0, y1 - y0, &squared);
                    if (sqrt(squared) <= reach) done = keep_edge(&s, x0, y0, x1, y1);
                }
            }
        }
        probability[k] = integrate_rays(&s, inside[k], radius, sigma[k], rays, ux, uy);
    }
    free_scratch(&s);
    return done;
}

/* The same from the edges laid out near each pair. */
PUBLIC int integrate_nearby(const whole *first, const double *start, const double *end, whole n,
                            const whole *pair, const double *place, const double *stretch,
                            const uint8_t *inside, double radius, const double *sigma, whole rays,
                            const double *ux, const double *uy, double *probability) {
    scratch s = {0};
    int done = 1;
    for (whole k = 0; k < n && done; k++) {
        double px = place[2 * k], py = place[2 * k + 1], sx = stretch[2 * k], sy = stretch[2 * k + 1];
        double reach = radius + REACH * sigma[k];
        s.count = 0;
        for (whole e = first[pair[k]]; e < first[pair[k] + 1] && done; e++) {
            double ax = (start[2 * e] - px) * sx, ay = (start[2 * e + 1] - py) * sy;
            double bx = (end[2 * e] - px) * sx, by = (end[2 * e + 1] - py) * sy, squared;
            nearest_share(ax, ay, bx - ax, by - ay, &squared);
            if (sqrt(squared) <= reach) done = keep_edge(&s, ax, ay, bx, by);
        }
        probability[k] = integrate_rays(&s, inside[k], radius, sigma[k], rays, ux, uy);
    }
    free_scratch(&s);
    return done;
}
