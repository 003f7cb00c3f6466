export {
  AlwaysStencilFunc, BackSide, Box3, BufferAttribute, BufferGeometry, CylinderGeometry, DecrementWrapStencilOp,
  FrontSide, Group, IncrementWrapStencilOp, LineSegments, Mesh, NotEqualStencilFunc, OrthographicCamera,
  PlaneGeometry, Raycaster, Scene, ShaderMaterial, Spherical, Vector2, Vector3, Vector4, WebGLRenderer,
  WebGLRenderTarget,
} from "three";
export { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
