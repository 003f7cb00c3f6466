export {
  BackSide, BufferAttribute, BufferGeometry, DirectionalLight, Group,
  HemisphereLight, LineBasicMaterial, LineSegments, Mesh, MeshBasicMaterial, MeshLambertMaterial,
  OrthographicCamera, Plane, Scene, Spherical, Vector3, WebGLRenderer,
} from "three";
export { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
