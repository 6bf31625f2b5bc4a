"""Compiling a kernel in two steps, for `compiled`: parts for other kernels, wholes for Python.

numba optimises each kernel, makes machine code of it and a wrapper for Python, and does so again
within every kernel above it, though most are called by kernels alone. Here a kernel is first a
*part*, code as it was written (`passes`), and what Python calls a *whole*: a part with all
those below it, optimised and made into machine code once. Both are kept in files, apart.
"""

# the compiler ships types in part
# mypy: disable-error-code="attr-defined"
from __future__ import annotations

from typing import Any, NamedTuple

from llvmlite import binding
from numba.core import caching, config, types
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, compile_result

#: Objects whose addresses every part holds and no whole uses: the kernels it calls.
_KERNELS = ("_Kernel", "CPUDispatcher")


class Part(JITCodeLibrary):  # type: ignore[misc]
    """Code of a kernel for those that call it."""

    #: Whether it holds an address in this process, of a large array among its globals say.
    bound = False

    def add_linking_library(self, library: Any) -> None:
        self.bound = self.bound or getattr(library, "bound", False)
        super().add_linking_library(library)

    def _optimize_functions(self, module: Any) -> None:
        module.data_layout = self._codegen._data_layout

    def _optimize_final_module(self) -> None:
        pass

    def _finalize_final_module(self) -> None:
        # ready to be linked as it is, without numba's copy of it
        for function in self._final_module.functions:
            if not function.is_declaration and function.linkage == binding.Linkage.external:
                function.linkage = "linkonce_odr"
        self._shared_module = self._final_module
        self._finalized = True


class WholeLibrary(JITCodeLibrary):  # type: ignore[misc]
    """Machine code of a kernel that Python calls."""

    entry = ""  # name of the wrapper that Python calls

    def _optimize_functions(self, module: Any) -> None:
        module.data_layout = self._codegen._data_layout

    def _optimize_final_module(self) -> None:
        # seen from nowhere else: the same kernel in another whole never runs instead; and of
        # another name, since the linker takes what it knows by a name, with arguments left out
        for function in self._final_module.functions:
            if not function.is_declaration and function.name != self.entry:
                function.linkage = "internal"
                function.name += ".inside"
        # loops as they are: unrolled they take a third longer to compile, and run no faster
        level = min(2, int(config.OPT))  # NUMBA_OPT may ask for less
        options = binding.create_pipeline_tuning_options(speed_level=level)
        options.loop_vectorization = True
        options.loop_interleaving = options.loop_unrolling = options.slp_vectorization = False
        builder = binding.create_pass_builder(self._codegen._tm, options)
        builder.getModulePassManager().run(self._final_module, builder)

    def get_pointer_to_function(self, name: str) -> int:
        self._ensure_finalized()
        return int(self._codegen._engine.get_function_address(name))


class Whole(NamedTuple):
    """A kernel as Python calls it."""

    function: Any
    library: WholeLibrary
    descriptor: Any
    environment: Any

    @property
    def codegen(self) -> Any:
        """By which numba's cache names the processor."""
        return self.library.codegen


class PartCompiler(CompilerBase):  # type: ignore[misc]
    """numba's compiler, up to the code as it was written."""

    def define_pipelines(self) -> Any:
        from .passes import known_types, passes_for_parts  # a start without compiling needs none

        state = self.state
        state.flags.no_compile = state.flags.no_cpython_wrapper = True
        state.typingctx = known_types(state.typingctx)
        context = state.targetctx
        library = state.library = Part(context.codegen(), state.func_id.func_qualname)
        held = context.add_dynamic_addr

        def noted(builder: Any, address: int, info: str) -> Any:
            library.bound = library.bound or info not in _KERNELS
            return held(builder, address, info)

        context.add_dynamic_addr = noted
        return [passes_for_parts()]

    def _compile_core(self) -> Any:
        part = super()._compile_core()._replace(entry_point=object())  # by which callers find it
        part.library.finalize()  # with the parts below it, as it is kept
        part.target_context.insert_user_function(part.entry_point, part.fndesc, [part.library])
        return part


def _is_of_numbers(kind: Any) -> bool:
    if isinstance(kind, types.BaseTuple):
        return all(map(_is_of_numbers, kind.types))
    if isinstance(kind, types.Optional):
        return _is_of_numbers(kind.type)
    return isinstance(kind, types.Number | types.Boolean | types.NoneType)


def whole_of(part: Any, context: Any) -> Whole:
    """The whole of a part: numba's result of `PartCompiler`, or of `PartFiles`.

    Raises
    ------
    NotImplementedError
        For a kernel that returns an array, whose owner it does not know.
    """
    returned = part.signature.return_type
    if not _is_of_numbers(returned):
        raise NotImplementedError(f"a kernel that Python calls and that returns {returned}")
    context.refresh()  # where the part comes from its file, nothing has been compiled yet
    library = WholeLibrary(context.codegen(), part.library.name)
    library.enable_object_caching()
    library.entry = part.fndesc.llvm_cpython_wrapper_name
    library.add_linking_library(part.library)
    with context.push_code_library(library):
        context.create_cpython_wrapper(
            library, part.fndesc, part.environment, part.call_helper, release_gil=True
        )
    return _whole(library, part.fndesc, part.environment, context)


def _whole(library: WholeLibrary, descriptor: Any, environment: Any, context: Any) -> Whole:
    function = context.get_executable(library, descriptor, environment)
    return Whole(function, library, descriptor, environment)


class PartFiles(caching.CompileResultCacheImpl):  # type: ignore[misc]
    """How a part lies in a file."""

    def check_cachable(self, part: Any) -> bool:
        return not part.library.bound

    def get_filename_base(self, name: str, abi: str) -> str:
        """Another than that of the whole, and none that `is_warm` takes for one."""
        return str(super().get_filename_base(name.replace(".", "+"), abi))

    def reduce(self, part: Any) -> tuple[Any, ...]:
        part.fndesc.typemap = part.fndesc.calltypes = None  # large, and of no use any more
        code = part.library._final_module.as_bitcode()
        return part.library.name, code, part.fndesc, part.environment, part.signature

    def rebuild(self, context: Any, kept: tuple[Any, ...]) -> Any:
        name, code, descriptor, environment, signature = kept
        library = Part(context.codegen(), name)
        library._final_module = binding.parse_bitcode(code)
        library._finalize_final_module()
        return compile_result(
            typing_context=context.typing_context, target_context=context, entry_point=object(),
            signature=signature, library=library, fndesc=descriptor, environment=environment,
            objectmode=False, reload_init=(),
        )  # fmt: skip


class WholeFiles(caching.CompileResultCacheImpl):  # type: ignore[misc]
    """How a whole lies in a file."""

    def check_cachable(self, whole: Whole) -> bool:
        return not whole.library.has_dynamic_globals

    def reduce(self, whole: Whole) -> tuple[Any, ...]:
        code = whole.library._get_compiled_object()
        return whole.library.name, code, whole.descriptor, whole.environment

    def rebuild(self, context: Any, kept: tuple[Any, ...]) -> Whole:
        name, code, descriptor, environment = kept
        library = WholeLibrary(context.codegen(), name)
        library.enable_object_caching()
        library._set_compiled_object(code)
        library._finalize_final_module()
        return _whole(library, descriptor, environment, context)
