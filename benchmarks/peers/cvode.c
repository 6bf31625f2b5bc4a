/* CVODE of SUNDIALS (6 or 7) on callbacks in machine code, without Python in the loop.

   Four linear solvers: the arrow's own elimination (the package's kernels as a SUNLinearSolver),
   KLU, dense, and a band that leaves the border out of Newton's matrix. The solver's memory is
   made once and started anew for each run. */

#include <stdlib.h>
#include <string.h>

#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sundials/sundials_version.h>
#include <sunlinsol/sunlinsol_band.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_band.h>
#include <sunmatrix/sunmatrix_dense.h>
#ifdef WITH_KLU
#include <sunlinsol/sunlinsol_klu.h>
#include <sunmatrix/sunmatrix_sparse.h>
#endif

enum { ARROW, KLU, DENSE, BAND };

typedef struct {
    void (*right)(double, const double *, double *, void *);
    void (*slope)(const double *, void *);
    double (*onset)(const double *, void *);
    long (*factor)(double, void *);
    void (*solve)(double *, void *);
    void *data;
    int size, chain, shared;
    double squared;
    /* what `slope` fills */
    const double *lower, *diagonal, *upper, *joule, *column, *row, *corner;
} Problem;

typedef struct {
    Problem problem;
    int kind;
    double gamma;
    SUNContext context;
    void *memory;
    N_Vector y;
    SUNMatrix matrix;
    SUNLinearSolver solver;
    int fresh;
} Session;

static int right(double t, N_Vector y, N_Vector out, void *user) {
    Problem *p = &((Session *)user)->problem;
    p->right(t, N_VGetArrayPointer(y), N_VGetArrayPointer(out), p->data);
    return 0;
}

static int onset(double t, N_Vector y, double *value, void *user) {
    Problem *p = &((Session *)user)->problem;
    value[0] = p->onset(N_VGetArrayPointer(y), p->data);
    return 0;
}

/* Entry of the Jacobian's diagonal. */
static double diagonal(const Problem *p, int i) {
    double value = i < p->chain ? p->diagonal[i]
                                : p->corner[(i - p->chain) * (p->shared + 1)];
    return value + p->squared * p->joule[i];
}

static int dense(double t, N_Vector y, N_Vector f, SUNMatrix J, void *user, N_Vector a,
                 N_Vector b, N_Vector c) {
    Problem *p = &((Session *)user)->problem;
    p->slope(N_VGetArrayPointer(y), p->data);
    for (int i = 0; i < p->size; i++) SM_ELEMENT_D(J, i, i) = diagonal(p, i);
    for (int i = 1; i < p->chain; i++) {
        SM_ELEMENT_D(J, i, i - 1) = p->lower[i];
        SM_ELEMENT_D(J, i - 1, i) = p->upper[i - 1];
    }
    for (int s = 0; s < p->shared; s++) {
        for (int i = 0; i < p->chain; i++) {
            SM_ELEMENT_D(J, i, p->chain + s) = p->column[s * p->chain + i];
            SM_ELEMENT_D(J, p->chain + s, i) = p->row[s * p->chain + i];
        }
        for (int o = 0; o < p->shared; o++)
            if (o != s) SM_ELEMENT_D(J, p->chain + s, p->chain + o) = p->corner[s * p->shared + o];
    }
    return 0;
}

static int band(double t, N_Vector y, N_Vector f, SUNMatrix J, void *user, N_Vector a,
                N_Vector b, N_Vector c) {
    Problem *p = &((Session *)user)->problem;
    p->slope(N_VGetArrayPointer(y), p->data);
    for (int i = 0; i < p->size; i++) SM_ELEMENT_B(J, i, i) = diagonal(p, i);
    for (int i = 1; i < p->chain; i++) {
        SM_ELEMENT_B(J, i, i - 1) = p->lower[i];
        SM_ELEMENT_B(J, i - 1, i) = p->upper[i - 1];
    }
    return 0;
}

#ifdef WITH_KLU
static int sparse(double t, N_Vector y, N_Vector f, SUNMatrix J, void *user, N_Vector a,
                  N_Vector b, N_Vector c) {
    Problem *p = &((Session *)user)->problem;
    sunindextype *start = SUNSparseMatrix_IndexPointers(J), *place = SUNSparseMatrix_IndexValues(J);
    double *value = SUNSparseMatrix_Data(J);
    int n = p->chain, k = p->shared, at = 0;
    p->slope(N_VGetArrayPointer(y), p->data);
    for (int j = 0; j < n; j++) {
        start[j] = at;
        if (j > 0) place[at] = j - 1, value[at++] = p->upper[j - 1];
        place[at] = j, value[at++] = diagonal(p, j);
        if (j < n - 1) place[at] = j + 1, value[at++] = p->lower[j + 1];
        for (int s = 0; s < k; s++) place[at] = n + s, value[at++] = p->row[s * n + j];
    }
    for (int s = 0; s < k; s++) {
        start[n + s] = at;
        for (int i = 0; i < n; i++) place[at] = i, value[at++] = p->column[s * n + i];
        for (int o = 0; o < k; o++) {
            place[at] = n + o;
            value[at++] = o == s ? diagonal(p, n + s) : p->corner[o * k + s];
        }
    }
    start[n + k] = at;
    return 0;
}
#endif

/* The arrow's elimination: M = I - gamma J is kept as its Jacobian and gamma. */

static int system_of_arrow(double t, N_Vector y, N_Vector f, SUNMatrix M, int jok, int *jcur,
                           double gamma, void *user, N_Vector a, N_Vector b, N_Vector c) {
    Session *s = user;
    *jcur = !jok;
    if (!jok) s->problem.slope(N_VGetArrayPointer(y), s->problem.data);
    s->gamma = gamma;
    return 0;
}

static SUNLinearSolver_Type type_of_arrow(SUNLinearSolver S) { return SUNLINEARSOLVER_DIRECT; }

static int set_up_arrow(SUNLinearSolver S, SUNMatrix M) {
    Session *s = S->content;
    return s->problem.factor(1.0 / s->gamma, s->problem.data) ? 1 : 0;
}

static int solve_arrow(SUNLinearSolver S, SUNMatrix M, N_Vector x, N_Vector b, double tolerance) {
    Session *s = S->content;
    double *to = N_VGetArrayPointer(x);
    const double *from = N_VGetArrayPointer(b);
    for (int i = 0; i < s->problem.size; i++) to[i] = from[i] / s->gamma;
    s->problem.solve(to, s->problem.data);
    return 0;
}

static int nothing(SUNLinearSolver S) { return 0; }
static SUNMatrix_ID custom(SUNMatrix M) { return SUNMATRIX_CUSTOM; }
static int zero(SUNMatrix M) { return 0; }

void close_session(Session *s) {
    if (!s) return;
    if (s->memory) CVodeFree(&s->memory);
    if (s->solver) {
        if (s->kind == ARROW) SUNLinSolFreeEmpty(s->solver);
        else SUNLinSolFree(s->solver);
    }
    if (s->matrix) {
        if (s->kind == ARROW) SUNMatFreeEmpty(s->matrix);
        else SUNMatDestroy(s->matrix);
    }
    if (s->y) N_VDestroy(s->y);
    if (s->context) SUNContext_Free(&s->context);
    free(s);
}

Session *open_session(const Problem *problem, int kind) {
    Session *s = calloc(1, sizeof(Session));
    s->problem = *problem;
    s->kind = kind;
    int n = problem->size;
#if SUNDIALS_VERSION_MAJOR >= 7
    if (SUNContext_Create(SUN_COMM_NULL, &s->context)) goto failed;
#else
    if (SUNContext_Create(NULL, &s->context)) goto failed;
#endif
    s->y = N_VNew_Serial(n, s->context);
    memset(N_VGetArrayPointer(s->y), 0, n * sizeof(double));
    s->memory = CVodeCreate(CV_BDF, s->context);
    if (CVodeInit(s->memory, right, 0.0, s->y)) goto failed;
    if (CVodeSStolerances(s->memory, 1e-4, 1e-2)) goto failed;
    CVodeSetUserData(s->memory, s);
    CVodeSetMaxNumSteps(s->memory, 200000);
    if (kind == ARROW) {
        s->matrix = SUNMatNewEmpty(s->context);
        s->matrix->ops->getid = custom;
        s->matrix->ops->zero = zero;
        s->solver = SUNLinSolNewEmpty(s->context);
        s->solver->content = s;
        s->solver->ops->gettype = type_of_arrow;
        s->solver->ops->initialize = nothing;
        s->solver->ops->setup = set_up_arrow;
        s->solver->ops->solve = solve_arrow;
    } else if (kind == DENSE) {
        s->matrix = SUNDenseMatrix(n, n, s->context);
        s->solver = SUNLinSol_Dense(s->y, s->matrix, s->context);
    } else if (kind == BAND) {
        s->matrix = SUNBandMatrix(n, 1, 1, s->context);
        s->solver = SUNLinSol_Band(s->y, s->matrix, s->context);
#ifdef WITH_KLU
    } else if (kind == KLU) {
        int entries = 3 * problem->chain - 2 + 2 * problem->chain * problem->shared +
                      problem->shared * problem->shared;
        s->matrix = SUNSparseMatrix(n, n, entries, CSC_MAT, s->context);
        s->solver = SUNLinSol_KLU(s->y, s->matrix, s->context);
#endif
    } else goto failed;
    if (!s->matrix || !s->solver) goto failed;
    if (CVodeSetLinearSolver(s->memory, s->solver, s->matrix)) goto failed;
    if (kind == ARROW && CVodeSetLinSysFn(s->memory, system_of_arrow)) goto failed;
    if (kind == DENSE && CVodeSetJacFn(s->memory, dense)) goto failed;
    if (kind == BAND && CVodeSetJacFn(s->memory, band)) goto failed;
#ifdef WITH_KLU
    if (kind == KLU && CVodeSetJacFn(s->memory, sparse)) goto failed;
#endif
    if (CVodeRootInit(s->memory, 1, onset)) goto failed;
    return s;
failed:
    close_session(s);
    return NULL;
}

/* Time of the onset [s], or a negative number; counts: steps, right sides, Jacobians. */
double run_session(Session *s, const double *start, double until, double relative,
                   double absolute, int order, int set_up_every, double newton, long *counts) {
    double t = 0.0;
    memcpy(N_VGetArrayPointer(s->y), start, s->problem.size * sizeof(double));
    if (CVodeReInit(s->memory, 0.0, s->y)) return -1.0;
    if (CVodeSStolerances(s->memory, relative, absolute)) return -1.0;
    CVodeSetMaxOrd(s->memory, order);
    CVodeSetLSetupFrequency(s->memory, set_up_every);
    CVodeSetNonlinConvCoef(s->memory, newton);
    CVodeSetStopTime(s->memory, until);
    int outcome = CVode(s->memory, until, s->y, &t, CV_NORMAL);
    CVodeGetNumSteps(s->memory, &counts[0]);
    CVodeGetNumRhsEvals(s->memory, &counts[1]);
    CVodeGetNumJacEvals(s->memory, &counts[2]);
    return outcome == CV_ROOT_RETURN ? t : -1.0;
}

int version(void) { return SUNDIALS_VERSION_MAJOR * 100 + SUNDIALS_VERSION_MINOR; }
